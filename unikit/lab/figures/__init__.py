"""The pictures of the kit: each draws one study's result, beside the side view of the machine."""

from types import ModuleType

from . import (
    balance,
    bench,
    capture,
    carriage,
    climbs,
    cranks,
    event,
    gearing,
    going,
    heat,
    heat_bench,
    joining,
    leverage,
    motor,
    pack,
    reach,
    review,
    ride,
    rider,
    sensing,
    side,
    stability,
    start,
    stopping,
    train,
    winding,
    wiring,
)

TOPICS: dict[str, ModuleType] = {
    "start": start,
    "gearing": gearing,
    "train": train,
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
    "sensing": sensing,
    "heat": heat,
    "climbs": climbs,
    "carriage": carriage,
    "pack": pack,
    "joining": joining,
    "wiring": wiring,
    "ride": ride,
    "review": review,
}
PICTURES = {name: module.picture for name, module in TOPICS.items()} | {
    "side": side.picture,
    "rider": rider.picture,
    "bench": bench.picture,
    "pack sharing": pack.sharing,
    "bench prediction": bench.prediction,
    "heat_bench": heat_bench.picture,
}

__all__ = ["PICTURES", "TOPICS", *TOPICS, "bench", "heat_bench", "rider", "side"]
