"""Answers of the lesson on what a ride log says."""

from __future__ import annotations

from functools import cache

from ...formulas import gusts, road
from ...inputs import Build, load_ride
from ...inputs.ride_logs import RideLog
from ...studies import ride_log
from ..exercises import Exercise, Slip, declare
from . import DATA, case
from . import build as example

SPEED, GUST, AREA, DENSITY = 5.0, 1.2, 0.62, 1.22  # m/s, m/s, m2, kg/m3
DRIFT, WAY = 1.5, 4000.0  # m


@cache
def log(name: str = "errand") -> RideLog:
    """An example log, as its file stands."""
    return load_ride(DATA / "logs" / f"{name}.csv", DATA / "logs" / "ride.toml")


@cache
def found(name: str = "errand") -> ride_log.RideFit:
    """What an example log says."""
    return ride_log.study(example(), case("flat_cruise"), log(name))


def fitted() -> Build:
    """The example build with what the first log says."""
    return ride_log.corrected(example(), found())


def gust_drag() -> float:
    """Force that gusts of 1.2 m/s add on average at 5 m/s of air speed."""
    return float(gusts.gusty_drag(DENSITY, AREA, SPEED, 0.0, GUST) - gusts.gusty_drag(DENSITY, AREA, SPEED, 0.0, 0.0))


def drift_force() -> float:
    """Force for which a barometer's drift of 1.5 m over 4 km is mistaken."""
    return float(road.slope_force(example().total_mass, DRIFT / WAY))


def area_half() -> float:
    """Half width of the drag area's 95 % interval."""
    one = found()
    return (one.drag_area_high - one.drag_area_low) / 2


def flat_force(made: Build | None = None) -> float:
    """Force on the flat in still air at 18 km/h, by the fitted build."""
    made = made or fitted()
    air, wheel = case("flat_cruise").air_density, made.wheel
    drag, rolling = made.rider.drag_area, wheel.rolling_coefficient
    bearing = (wheel.bearing_drag, wheel.bearing_drag_per_speed)
    return float(road.road_force(5.0, made.total_mass, 0.0, 0.0, air, drag, rolling, 0.0, *bearing))


declare(
    Exercise(
        "ride_log.1",
        "force",
        gust_drag,
        0.02,
        hints=(Slip(2 / 3, "that counts gusts along the way alone: those across add half as much again"),),
    ),
    Exercise(
        "ride_log.2",
        "force",
        drift_force,
        0.02,
        hints=(Slip(example().rider.mass / example().total_mass, "that lifts the rider alone: the machine is lifted too"),),
    ),
    Exercise(
        "ride_log.3",
        "area",
        area_half,
        0.02,
        hints=(
            Slip(2.0, "that is the whole width, from end to end"),
            Slip(float(found().fit.error[1]) / area_half(), "that is one standard error: 95 % asks for about two"),
        ),
    ),
    Exercise(
        "ride_log.4",
        "force",
        flat_force,
        0.02,
        hints=(Slip(flat_force(example()) / flat_force(), "that is by the build file as believed"),),
    ),
)
