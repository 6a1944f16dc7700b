"""The pictures of the kit: each draws one study's result, beside the side view of the machine."""

from types import ModuleType

from . import (
    balance,
    bench,
    calibration,
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
    "calibration": calibration.picture,
    "calibration prediction": calibration.prediction,
}

__all__ = ["PICTURES", "TOPICS", *TOPICS, "bench", "calibration", "heat_bench", "rider", "side"]
