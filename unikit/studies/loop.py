"""Rider, machine and assist as one loop: what the balance formulas need, from a build and a case.

Nobody knows a rider's delay or the stiffness of the legs without measuring
them.  What a build leaves out is taken over a range, and named.
"""

from __future__ import annotations

import dataclasses
import weakref
from dataclasses import dataclass
from functools import cache, lru_cache
from typing import Any

import numpy as np

from ..formulas import balance, leverage, reflex
from ..formulas.reflex import Path, Plant, Reflex
from ..inputs import Build, Case, Gear, describe
from ..inputs.fields import Named
from ..inputs.spreads import Spread
from ..inputs.spreads import read as spread_of
from ..units import Values
from .split import assist_gain

# Ranges, because published delays scatter: 0.10 to 0.15 s balancing on a board (Molnar and Insperger, DETC2020-22407), where a
# rider who answers acceleration as well stands a larger delay (Insperger, Milton and Stepan, J. R. Soc. Interface 10:20120763).
# Muscle lag, legs and the rest are assumed: common practice, no source.
ASSUMED = {
    "rider.reaction_delay": "100 ms to 150 ms",
    "rider.muscle_lag": "20 ms to 60 ms",
    "rider.prediction": "acceleration",
    "rider.speed_gain": "0 s/m to 0.04 s/m",
    "rider.leg_damping": "0 N*m*s/rad to 6 N*m*s/rad",
    "rider.leg_stiffness": "0 N*m/rad to 150 N*m/rad",
    "rider.replanning_time": "100 ms to 300 ms",
}
DRAG_HEIGHT = 0.85, 1.05  # over the height of the rider's centre of mass; assumed
LEARNED_AT, LEARNED_IN = 3.0, 1.2  # m/s in still air of so many kg/m3, on the level; both hardly matter


@dataclass(frozen=True)
class Loop:
    """The loop of one gear in one case: machine, rider at these cranks, assist path, leverage and gains in both directions."""

    plant: Plant
    reflex: Reflex
    path: Path
    gear_ratio: Values
    driving_leverage: Values
    resisting_leverage: Values
    driving_gain: Values
    resisting_gain: Values

    @property
    def hold(self) -> np.ndarray:
        """Gear leverage of driving and of resisting pedals along a first axis, before that of the draws."""
        return self._both(self.driving_leverage, self.resisting_leverage)

    @property
    def gain(self) -> np.ndarray:
        """Assist gain as set for driving and for resisting pedals along a first axis, before that of the draws."""
        return self._both(self.driving_gain, self.resisting_gain)

    def _both(self, driving: Values, resisting: Values) -> np.ndarray:
        parts = (*self.plant, *self.reflex, *self.path, self.gear_ratio, driving, resisting)
        shape = np.broadcast_shapes(*map(np.shape, parts))
        return np.stack([np.broadcast_to(driving, shape), np.broadcast_to(resisting, shape)])


def assumed(build: Build) -> tuple[str, ...]:
    """Paths of the rider's numbers that the build leaves out and that are taken over a range."""
    names = (*ASSUMED, "rider.drag_height")
    return tuple(path for path in names if getattr(build.rider, path.partition(".")[2]) is None)


def in_words(paths: tuple[str, ...]) -> str:
    """Names of the fields for people."""
    return ", ".join(path.rpartition(".")[2].replace("_", " ") for path in paths) or "nothing"


@cache
def _ranges() -> dict[str, tuple[float | str, Spread | None]]:
    """Middle and spread of each assumed number; read at the first need, because units are not needed before."""
    return {path: (text, None) if describe(path).form == "word" else spread_of(text, describe(path).kind) for path, text in ASSUMED.items()}


def completed(build: Build) -> Build:
    """The build with a range, and its middle, in place of every number of the rider that it leaves out."""
    missing, spreads = assumed(build), dict(build.spreads)
    if not missing:
        return build
    values: dict[str, Any] = {}
    for path in missing:
        name = path.partition(".")[2]
        if path in ASSUMED:
            values[name], spread = _ranges()[path]
        else:
            height = build.rider.centre_of_mass_height
            low, high = (share * height for share in DRAG_HEIGHT)
            # In a column of builds each row is a rider of its own, without a spread.
            values[name], spread = 0.5 * (low + high), None if np.ndim(height) else Spread("uniform", (low, high))
        if spread is not None:
            spreads[path] = spread
    # Not by inputs.replace, which reads a whole build anew: these values are within their limits, as a test sees to.
    return dataclasses.replace(build, rider=dataclasses.replace(build.rider, **values), spreads=Named(spreads))


def body(build: Build) -> dict[str, Values]:
    """Masses, inertias and measures as the balance formulas name them."""
    return {
        "body_mass": build.body_mass,
        "centre_of_mass_height": build.body_centre_of_mass_height,
        "body_inertia": build.body_inertia,
        "wheel_mass": build.wheel_mass,
        "wheel_inertia": build.wheel_inertia,
        "wheel_radius": build.wheel.radius,
    }


def road(build: Build, case: Case, speed: Values | None = None, slope: Values | None = None) -> dict[str, Values]:
    """Slope, speed, wind and air as the balance formulas name them; speed and slope may replace those of the case."""
    return {
        "slope": case.slope if slope is None else slope,
        "speed": case.speed if speed is None else speed,
        "head_wind": case.head_wind,
        "air_density": case.air_density,
        "drag_area": build.rider.drag_area,
        "drag_height": build.rider.drag_height,
        "rolling_coefficient": build.wheel.rolling_coefficient,
    }


_UNGEARED = (0.0, float("inf"), 0.0), 1.0, 1.0, 0.0  # assist path, gear leverage, gear ratio, assist gain
_drawn: weakref.WeakKeyDictionary[Build, dict[str, Reflex]] = weakref.WeakKeyDictionary()


def habit(build: Build) -> Reflex:
    """The rider as learned on the ungeared wheel with the reference cranks: gains that keep that wheel farthest from instability.

    Needs a completed build.  The ungeared wheel has the same body and the same wheel, motor and all.
    """
    return _rider(build, 1.0, _UNGEARED, "")


def adapted(build: Build, gear: Gear, assisted: bool = True) -> Reflex:
    """The rider who has learned this gear on these cranks as well as the ungeared wheel before: with its driving gain, or with no motor."""
    share = build.cranks.length / build.cranks.reference_length
    lever = leverage.gear_leverage(gear.ratio, gear.efficiency)
    gain = assist_gain(build, gear) if assisted else 0.0
    lags = tuple(path(build)) if assisted else _UNGEARED[0]
    return _rider(build, share, (lags, lever, gear.ratio, gain), f"{gear.name} {'assisted' if assisted else 'alone'}")


def _rider(build: Build, share: Values, machine: tuple[Any, ...], name: str) -> Reflex:
    """A rider who has learned a machine, kept, because learning takes longer than all that is asked of the rider afterwards."""
    rider = build.rider
    measures = (*body(build).values(), rider.drag_area, rider.drag_height)
    legs = rider.leg_damping * share**2, rider.leg_stiffness * share**2
    person = (rider.reaction_delay, rider.muscle_lag, rider.speed_gain, *legs, rider.replanning_time)
    lags, *rest = machine
    if not any(np.ndim(value) for value in (*measures, *person, *lags, *rest)):
        return _learned(measures, person, rider.prediction, machine)
    kept = _drawn.setdefault(build, {})
    if name not in kept:
        kept[name] = _learn(measures, person, rider.prediction, machine)
    return kept[name]


def _learn(measures: tuple[Values, ...], person: tuple[Values, ...], prediction: str, machine: tuple[Any, ...]) -> Reflex:
    *masses, drag_area, drag_height = measures
    delay, muscle_lag, speed_gain, damping, stiffness, replanning = person
    lags, lever, ratio, gain = machine
    plant = balance.linear_plant(*masses, speed=LEARNED_AT, air_density=LEARNED_IN, drag_area=drag_area, drag_height=drag_height)
    return reflex.tuned_reflex(
        plant,
        delay,
        muscle_lag,
        predictive=prediction == "acceleration",
        speed_gain=speed_gain,
        leg_damping=damping,
        leg_stiffness=stiffness,
        replanning_time=replanning,
        path=Path(*lags),
        gear_leverage=lever,
        gear_ratio=ratio,
        assist_gain=gain,
    )


_learned = lru_cache(maxsize=256)(_learn)


def at_cranks(rider: Reflex, share: Values) -> Reflex:
    """The same feet on cranks ``share`` times as long: foot force for a lean and passive legs as before."""
    return rider._replace(
        proportional=rider.proportional * share,
        derivative=rider.derivative * share,
        acceleration=rider.acceleration * share,
        leg_damping=rider.leg_damping * share**2,
        leg_stiffness=rider.leg_stiffness * share**2,
    )


def path(build: Build) -> Path:
    """The assist path: sensor as given, motor by inductance over resistance of one phase with its bridge."""
    if build.motor is None or build.controller is None or build.sensor is None:
        return Path(0.0, float("inf"), 0.0)
    resistance = build.motor.phase_resistance + build.controller.bridge_resistance
    return Path(build.sensor.dead_time, build.sensor.filter_corner, build.motor.quadrature_inductance / resistance)


def ungeared(build: Build, case: Case) -> Loop:
    """The same rider on the same wheel without gear and assist, on the reference cranks."""
    plant = balance.linear_plant(**body(build), **road(build, case))
    return Loop(plant, habit(build), Path(0.0, float("inf"), 0.0), 1.0, 1.0, 1.0, 0.0, 0.0)


def loop(
    build: Build,
    case: Case,
    gear: Gear,
    speed: Values | None = None,
    slope: Values | None = None,
    experienced: bool = False,
    rider: Reflex | None = None,
) -> Loop:
    """The loop of a completed build with the habitual rider, one who has learned this machine, or another one, as at the cranks."""
    return Loop(
        plant=balance.linear_plant(**body(build), **road(build, case, speed, slope)),
        reflex=rider
        or (adapted(build, gear) if experienced else at_cranks(habit(build), build.cranks.length / build.cranks.reference_length)),
        path=path(build),
        gear_ratio=gear.ratio,
        driving_leverage=leverage.gear_leverage(gear.ratio, gear.efficiency),
        resisting_leverage=leverage.gear_leverage(gear.ratio, gear.efficiency, resisting=True),
        driving_gain=assist_gain(build, gear),
        resisting_gain=assist_gain(build, gear, resisting=True),
    )
