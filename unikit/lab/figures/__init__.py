"""The pictures of the kit: each draws one study's result, beside the side view of the machine."""

from types import ModuleType

from . import (
    balance,
    bench,
    capture,
    climbs,
    cranks,
    event,
    gearing,
    going,
    heat,
    heat_bench,
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
    strength,
    winding,
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
    "strength": strength,
    "motor": motor,
    "winding": winding,
    "reach": reach,
    "heat": heat,
    "climbs": climbs,
    "ride": ride,
    "review": review,
}
PICTURES = {name: module.picture for name, module in TOPICS.items()} | {
    "side": side.picture,
    "rider": rider.picture,
    "bench": bench.picture,
    "bench prediction": bench.prediction,
    "heat_bench": heat_bench.picture,
}

__all__ = ["PICTURES", "TOPICS", *TOPICS, "bench", "heat_bench", "rider", "side"]
