"""The pictures of the kit: each draws one study's result, beside the side view of the machine."""

from types import ModuleType

from . import balance, capture, event, gearing, heat, leverage, motor, review, ride, side, start

TOPICS: dict[str, ModuleType] = {
    "start": start,
    "gearing": gearing,
    "leverage": leverage,
    "balance": balance,
    "capture": capture,
    "event": event,
    "motor": motor,
    "heat": heat,
    "ride": ride,
    "review": review,
}
PICTURES = {name: module.picture for name, module in TOPICS.items()} | {"side": side.picture}

__all__ = ["PICTURES", "TOPICS", *TOPICS, "side"]
