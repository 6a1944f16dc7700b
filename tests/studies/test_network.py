"""The thermal network of a build: its paths, its energy, an independent integrator, and the limits in which it is a plain chain."""

import numpy as np
import pytest
from scipy.integrate import simpson, solve_ivp

from unikit.formulas import air
from unikit.inputs import replace
from unikit.studies import heat
from unikit.studies.drive import ROOM
from unikit.studies.motor import point

from . import examples

HILL = {"slope": 0.11, "speed": 3.0, "trim": "level", "duration": 2400.0, "winding_start": 310.0}
ORDINARY = ({"trim": "none", "sun": 700.0}, {"slope": 0.06}, {"speed": 1.0, "slope": 0.14}, {"speed": 9.0, "slope": 0.0})
CASES = [(make, examples.case(**(HILL | changes))) for make in (examples.strong, examples.described) for changes in ORDINARY]
IDS = [f"{make.__name__} {words}" for make in (examples.strong, examples.described) for words in ("sun", "hill", "steep", "fast")]


def network(build, case):
    return heat.network(build, case, build.gears.named("long"), 300.0)


def paths(build, case):
    return heat.paths(build, case.speed, case.air_temperature)


def losses_at(build, case, kelvin):
    """Copper loss of the split itself with a winding this warm, and the iron's; nothing is clipped here."""
    split = point(build, case, build.gears.named("long"), kelvin, 300.0)
    return split.copper_loss, split.iron_loss


def sun(build, case):
    machine = build.motor
    return (
        machine.emissivity * case.sun * np.hypot(np.pi / 4 * machine.housing_diameter**2, machine.housing_diameter * machine.housing_width)
    )


@pytest.mark.parametrize(("make", "case"), CASES, ids=IDS)
def test_losses_are_stored_or_go_to_the_air(make, case):
    build = make()
    time = np.linspace(0.0, case.duration, 8001)
    course = network(build, case).at(time)
    winding, stator, magnets, housing = course.T
    copper, iron = losses_at(build, case, winding)
    made = simpson(copper, x=time) + (np.max(iron) + sun(build, case)) * case.duration
    machine = build.motor
    stored = np.array([machine.winding_capacity, machine.stator_capacity, machine.magnet_capacity or 0.0, machine.housing_capacity])
    stored = stored @ (course[-1] - course[0])
    found = paths(build, case)
    to_air = found["housing", "air"] * simpson(housing - case.air_temperature, x=time)
    to_air += found.get(("stator", "air"), 0.0) * simpson(stator - case.air_temperature, x=time)
    assert made == pytest.approx(stored + to_air, rel=1e-6)
    assert made > 0.1 * (abs(stored) + abs(to_air))
    if machine.magnet_capacity is None:
        assert np.array_equal(magnets, housing)


@pytest.mark.parametrize(("make", "case"), CASES, ids=IDS)
def test_against_an_integrator(make, case):
    """Each path for itself: what leaves one body enters the other."""
    build = make()
    machine, names = build.motor, ("winding", "stator", "magnets", "housing")
    cold, iron = losses_at(build, case, ROOM)
    lone = machine.magnet_capacity is None
    capacity = {"winding": machine.winding_capacity, "stator": machine.stator_capacity, "housing": machine.housing_capacity}
    capacity["magnets"] = 1.0 if lone else machine.magnet_capacity

    def rates(_, kelvin):
        now = dict(zip(names, kelvin, strict=True)) | {"air": case.air_temperature}
        inflow = dict.fromkeys((*names, "air"), 0.0)
        inflow["winding"] = cold * (1 + 0.00393 * (now["winding"] - 293.15))
        inflow["stator"], inflow["housing"] = iron, sun(build, case)
        for (one, other), conductance in paths(build, case).items():
            flow = conductance * (now[one] - now[other])
            inflow[one] -= flow
            inflow[other] += flow
        return [inflow[name] / capacity[name] for name in names]

    time = np.linspace(0.0, case.duration, 25)
    found = solve_ivp(rates, (0.0, case.duration), [310.0] * 4, method="DOP853", t_eval=time, rtol=1e-10, atol=1e-8, max_step=20.0).y.T
    if lone:
        found[:, 2] = found[:, 3]
    assert network(build, case).at(time) == pytest.approx(found, abs=1e-5)


def test_steady_is_the_end_and_reached_is_when_it_is_there():
    build, case = examples.described(), examples.case(**HILL)
    now = network(build, case)
    assert now.at(1e7) == pytest.approx(now.steady(), abs=1e-6)
    for name, limit in (("winding", 320.0), ("magnets", 312.0), ("housing", 311.0)):
        when = now.reached(name, limit)
        assert 0 < when < 1e5 and now.at(when)[now.names.index(name)] == pytest.approx(limit, abs=1e-8)
    with pytest.raises(ValueError, match="name must be one of 'winding', 'stator', 'magnets', 'housing', got 'rotor'"):
        now.reached("rotor", 320.0)


def test_a_build_without_the_new_fields_is_the_plain_chain():
    build, case = examples.strong(), examples.case(**HILL)
    found = paths(build, case)
    assert list(found) == [("winding", "stator"), ("stator", "housing"), ("housing", "air")]
    assert heat.network(build, case, build.gears.named("long")).capacity.tolist() == [420.0, 1350.0, 1900.0]


def test_gap_end_space_and_axle_toward_nothing_and_the_ring_toward_one_with_the_housing_give_the_chain():
    plain, case = examples.strong(), examples.case(**HILL)
    closed = {"motor.gap_width": 0.01, "motor.stack_length": 0.003, "motor.gap_diameter": 0.02, "motor.end_winding_area": 1e-4}
    apart = replace(examples.described(), closed | {"motor.stator_to_axle": 0.0, "motor.magnet_to_housing": 1000.0})
    joined = replace(apart, {"motor.housing_capacity": plain.motor.housing_capacity - apart.motor.magnet_capacity})
    time = np.linspace(0.0, case.duration, 9)
    assert network(joined, case).at(time) == pytest.approx(network(plain, case).at(time), abs=0.03)


def test_the_air_gap_conducts_at_low_speed_and_swirls_at_high_speed():
    build = examples.described()
    still = heat.paths(build, 0.0, 293.15)["stator", "magnets"]
    area = np.pi * 0.186 * 0.028
    assert still == pytest.approx(area * air.conductivity(333.15) / 0.0008, rel=1e-12)
    speed = np.array([2.0, 5.0, 60.0])
    over = heat.paths(build, speed, 293.15)
    assert over["stator", "magnets"][:2] == pytest.approx(still, rel=1e-12) and over["stator", "magnets"][2] > 1.3 * still
    narrow = heat.paths(replace(build, {"motor.gap_width": 0.0004}), 3.0, 293.15)["stator", "magnets"]
    assert narrow == pytest.approx(2 * still, rel=1e-12)


def test_the_end_space_stirs_with_the_rotor():
    build = examples.described()
    rotation = np.array([0.0, 10.0, 20.0])
    found = heat.paths(build, rotation * build.wheel.radius, 293.15)["winding", "housing"]
    covers = np.pi / 2 * build.motor.housing_diameter**2
    film = 15 * (1 + 0.4 * (rotation * 0.093) ** 0.9)
    assert found == pytest.approx(1 / (1 / (film * 0.021) + 1 / (film * covers)), rel=1e-12)
    without_gap = replace(examples.strong(), {"motor.end_winding_area": 0.021})
    assert heat.paths(without_gap, 5.0, 293.15)["winding", "housing"] > heat.paths(build, 5.0, 293.15)["winding", "housing"]


def test_a_gap_without_a_ring_ends_at_the_housing():
    build = replace(examples.described(), {"motor.magnet_capacity": None, "motor.magnet_to_housing": None})
    case = examples.case(**HILL)
    now = network(build, case)
    assert now.conductance.shape == (3, 3)
    assert now.conductance[1, 2] == pytest.approx(3.2 + paths(build, case)["stator", "magnets"], rel=1e-13)
    assert now.at(500.0)[2] == now.at(500.0)[3]


def test_sunshine_warms_the_housing_most():
    build, case = examples.described(), examples.case(**(HILL | {"speed": 2.0}))
    gained = network(build, replace(case, {"sun": 900.0})).steady() - network(build, case).steady()
    assert 3.0 < gained[3] < 20.0 and gained[3] == max(gained) and gained[2] == pytest.approx(gained[3], rel=0.05)
