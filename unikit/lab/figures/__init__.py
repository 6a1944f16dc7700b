"""The pictures of the kit: each draws one study's result, beside the side view of the machine."""

from types import ModuleType

from . import (
    balance,
    capture,
    cranks,
    event,
    gearing,
    going,
    heat,
    leverage,
    motor,
    reach,
    review,
    ride,
    rider,
    side,
    stability,
    start,
    stopping,
)

TOPICS: dict[str, ModuleType] = {
    "start": start,
    "gearing": gearing,
    "leverage": leverage,
    "cranks": cranks,
    "stability": stability,
    "balance": balance,
    "going": going,
    "stopping": stopping,
    "capture": capture,
    "event": event,
    "motor": motor,
    "reach": reach,
    "heat": heat,
    "ride": ride,
    "review": review,
}
PICTURES = {name: module.picture for name, module in TOPICS.items()} | {"side": side.picture, "rider": rider.picture}

__all__ = ["PICTURES", "TOPICS", *TOPICS, "rider", "side"]
