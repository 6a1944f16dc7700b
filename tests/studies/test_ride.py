"""Power by cause, energy per distance, range, and the chance of getting home."""

import numpy as np
import pytest

from unikit.inputs import replace
from unikit.studies import ride
from unikit.studies.loads import loads, trim_torque

from . import examples


@pytest.mark.parametrize("name", examples.NAMES)
def test_power_by_cause_is_the_power_at_the_road(name):
    build = examples.build(name)
    for case in (*examples.cases(), examples.case(speed=0.0), examples.case(head_wind=-9.0, slope=-0.2)):
        for gear in build.gears.gear:
            result = ride.study(build, case, gear)
            causes = result.rolling + result.slope + result.air + result.bearing
            assert causes == pytest.approx(result.road_power, rel=1e-12, abs=1e-12)
            losses = result.gear_loss + result.iron_loss + result.copper_loss + result.controller_loss + result.pack_loss
            assert result.battery_power + result.leg_power == pytest.approx(result.road_power + losses, rel=1e-9, abs=1e-9)


def test_consumption_by_hand():
    """A case simple enough for a sheet of paper: direct gear, no gain, level trim; the motor carries the slope alone."""
    build = replace(examples.build(), {"assist.trim_cap": 30.0, "assist.torque_cap": 40.0, "rider.torque_floor": 0.4})
    case = examples.case(slope=0.05, speed=4.0, trim="level", state_of_charge=0.8)
    result = ride.study(build, case, build.gears.named("direct"))
    mass = 78 + 4.3 + 4.1 + 4.6 + 0.45 + 3 * 0.72
    torque = mass * 9.81 * 0.05 / np.sqrt(1 + 0.05**2) * build.wheel.radius
    constant = 0.95 * (1 + 0.0012 * 5)
    resistance = 0.085 * (1 + 0.00393 * 0) / (1 + 0.00393 * 5) + 0.006
    bus = torque * 4.0 / build.wheel.radius + 1.5 * resistance * (torque / constant) ** 2 + 6.0
    warmth = np.exp(21e3 / 8.314462618 * (1 / 293.15 - 1 / 298.15))  # cells at the air's 20 °C, their resistances stated at 25 °C
    source, inner = 13 * 3.98, (13 * (0.028 + 0.009 + 0.012) * 1.02 * warmth + 0.025) / 3
    current = (source - np.sqrt(source**2 - 4 * inner * bus)) / (2 * inner)
    assert result.battery_power == pytest.approx(source * current, rel=1e-9)
    assert result.consumption == pytest.approx(source * current / 4.0, rel=1e-9)
    assert result.pack_loss == pytest.approx(inner * current**2, rel=1e-9)
    # energy between 80 % and the 15 % held back: the curve's straight lines, by trapezia
    points = [(0.15, (3.43 + 3.55) / 2), (0.2, 3.55), (0.3, 3.61), (0.4, 3.66), (0.5, 3.72), (0.6, 3.79), (0.7, 3.88), (0.8, 3.98)]
    mean = sum((b[0] - a[0]) * (a[1] + b[1]) / 2 for a, b in zip(points, points[1:], strict=False))
    energy = 3 * 13 * 2.05 * 3600 * mean
    assert result.energy == pytest.approx(energy, rel=1e-9)
    assert result.range == pytest.approx(energy / (source * current / 4.0), rel=1e-9)


def test_feeding_back_costs_nothing_and_has_no_end():
    build = replace(examples.build(), {"assist.resisting_gain.long": 0.8, "controller.standby_power": 0.0})
    result = ride.study(build, examples.case(slope=-0.08, state_of_charge=0.6))
    assert result.consumption < 0 and result.range == np.inf
    assert result.summary()["range at this pace"] == "no limit"


def test_standing_still_costs_without_getting_anywhere():
    result = ride.study(examples.build(), examples.case(speed=0.0, slope=0.08, trim="level", distance=0.0))
    assert result.consumption == np.inf and result.range == 0 and result.leg_power == result.road_power == 0


def test_packs_that_are_down_to_what_is_held_back_give_nothing():
    for charge in (0.15, 0.1, 0.0):
        case = examples.case(state_of_charge=charge, slope=0.03)
        assert ride.study(examples.build(), case).range == ride.usable_energy(examples.build(), charge) == 0
    assert ride.usable_energy(examples.build("harbour_ungeared")) == 0


@pytest.mark.parametrize(
    ("slope", "trim", "expected"), [(0.02, "steps", 6.0), (0.02, "level", 6.124), (0.2, "steps", 9.0), (-0.2, "level", -9.0)]
)
def test_trim_by_policy(slope, trim, expected):
    build, case = examples.build(), examples.case(slope=slope, trim=trim)
    assert trim_torque(build, case) == pytest.approx(expected, abs=0.002)
    assert trim_torque(build, examples.case(slope=slope)) == 0
    assert trim_torque(examples.build("harbour_ungeared"), case) == 0


def test_trim_without_steps():
    build = replace(examples.build(), {"assist.trim_step": 0.0})
    cases = (examples.case(slope=0.02, trim="steps"), examples.case(slope=0.02, trim="level"))
    assert trim_torque(build, cases[0]) == trim_torque(build, cases[1]) > 0


def test_reach_against_another_draw():
    """The chance against draws of our own generator and a loop of single builds."""
    build, case = examples.build(), examples.case(slope=0.01, speed=4.5, trim="level", distance=24e3)
    middle = ride.study(build, case).range
    case = examples.case(slope=0.01, speed=4.5, trim="level", distance=middle)
    result = ride.reach(build, case, count=4000)
    rng, count = np.random.default_rng(99), 600
    draws = {
        "rider.mass": rng.normal(78, 1.5, count),
        "rider.drag_area": rng.normal(0.55, 0.05, count),
        "rider.critical_power": rng.uniform(155, 185, count),
        "rider.zero_cadence_torque": rng.normal(95, 8, count),
        "wheel.rolling_coefficient": rng.triangular(0.006, 0.008, 0.012, count),
    }
    draws |= {f"packs.pack.{name}.cell_resistance": rng.normal(0.028, 0.003, count) for name in ("left", "right", "rear")}
    assert set(draws) == set(build.spreads)
    ranges = np.array([ride.study(replace(build, {path: value[i] for path, value in draws.items()}), case).range for i in range(count)])
    chance = (ranges >= case.distance).mean()
    error = np.sqrt(chance * (1 - chance) * (1 / count + 1 / 4000))
    assert 0.2 < chance < 0.8
    assert abs(result.chance - chance) < 4 * error
    assert result.chance_error == pytest.approx(np.sqrt(result.chance * (1 - result.chance) / 4000))
    assert result.middle == pytest.approx(np.median(ranges), rel=0.01)
    assert result.likely == pytest.approx(np.quantile(ranges, 0.1), rel=0.01)


def test_reach_is_the_same_with_the_same_seed_only():
    build, case = examples.build(), examples.cases()[1]
    one, same, other = (ride.reach(build, case, count=300, seed=seed) for seed in (5, 5, 6))
    assert (one.probability == same.probability).all() and one.likely == same.likely
    assert one.likely != other.likely


def test_the_probability_falls_with_distance():
    result = ride.reach(examples.build(), examples.cases()[1], count=500)
    assert (np.diff(result.probability) <= 0).all() and result.probability[0] == 1 and result.probability[-1] == 0
    at = np.interp(result.likely, result.distance, result.probability)
    assert at == pytest.approx(0.9, abs=0.03)


def test_the_wind_of_the_case_is_drawn_too():
    build, case = examples.build(), next(case for case in examples.cases() if "head_wind" in case.spreads)
    known = replace(case, {path: spread.nominal for path, spread in case.spreads.items()})
    drawn, still = ride.reach(build, case, count=500), ride.reach(build, known, count=500)
    assert drawn.likely < still.likely


def test_reach_without_uncertainty_is_a_step():
    build = examples.build()
    certain = replace(build, {path: spread.nominal for path, spread in build.spreads.items()})
    case = examples.cases()[1]
    case = replace(case, {path: spread.nominal for path, spread in case.spreads.items()})
    result, there = ride.reach(certain, case, count=10), ride.study(certain, case).range
    assert not certain.spreads and not case.spreads and result.likely == result.middle == there and result.chance in (0.0, 1.0)


@pytest.mark.parametrize("build", [examples.build(), examples.build("harbour_ungeared")], ids=["feeding back", "no packs"])
def test_reach_where_nothing_is_used(build):
    if build.motor:
        build = replace(build, {"assist.resisting_gain.long": 0.8, "controller.standby_power": 0.0})
    result = ride.reach(build, examples.case(slope=-0.08, state_of_charge=0.6, distance=0.0), count=20)
    assert result.likely == result.middle == np.inf and result.chance == 1 and np.isfinite(result.distance).all()


SERIES = {"packs.joined": "series"}  # in parallel they would all need as many cells in series


@pytest.mark.parametrize(
    ("changes", "share"),
    [
        ({"packs.pack.left.parallel": 2}, 4 / 3),
        ({"packs.pack.rear.series": 26} | SERIES, 4 / 3),
        ({"packs.pack.left.parallel": 2} | SERIES, 1.0),  # one current: the others are empty first
        ({"packs.pack.left.parallel": 2, "packs.pack.right.parallel": 2, "packs.pack.rear.parallel": 2} | SERIES, 2.0),
    ],
)
def test_cells_count_as_far_as_they_can_be_emptied(changes, share):
    build = examples.build()
    assert ride.usable_energy(replace(build, changes), 0.7) == pytest.approx(share * ride.usable_energy(build, 0.7), rel=1e-12)


def test_loads_by_hand_with_wind_from_the_side():
    build, case = examples.build(), examples.case(slope=0.04, head_wind=2.0, cross_wind=-6.0, speed=5.0)
    found, root = loads(build, case), np.sqrt(1 + 0.04**2)
    assert found.air == pytest.approx(0.5 * case.air_density * 0.55 * 7.0 * np.hypot(7.0, 6.0), rel=1e-12)
    assert (found.rolling, found.slope) == pytest.approx((0.008 * 93.61 * 9.81 / root, 0.04 * 93.61 * 9.81 / root), rel=1e-12)
    assert found.bearing == pytest.approx(0.35 + 0.02 * 5.0, rel=1e-12)


def test_loads_take_the_place_of_those_of_the_case():
    build, case = examples.build(), examples.case(slope=0.04, head_wind=2.0)
    other = loads(build, case, speed=np.array([2.0, 6.0]), slope=0.0, head_wind=0.0)
    assert other.slope == 0 and other.air == pytest.approx(0.5 * case.air_density * 0.55 * np.array([4.0, 36.0]))
    assert other.wheel_torque == pytest.approx(other.force * build.wheel.radius)
