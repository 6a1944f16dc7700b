"""The pictures of the kit: each draws one study's result, beside the side view of the machine."""

from types import ModuleType

from . import balance, gearing, heat, leverage, motor, review, ride, rider, side, start

TOPICS: dict[str, ModuleType] = {
    "start": start,
    "gearing": gearing,
    "leverage": leverage,
    "balance": balance,
    "motor": motor,
    "heat": heat,
    "ride": ride,
    "review": review,
}
PICTURES = {name: module.picture for name, module in TOPICS.items()} | {"side": side.picture, "rider": rider.picture}

__all__ = ["PICTURES", "TOPICS", *TOPICS, "rider", "side"]
