"""Heat over a case: energy kept, an independent integrator, the moments that matter."""

import numpy as np
import pytest
from scipy.integrate import simpson
from scipy.optimize import brentq

from unikit.inputs import replace
from unikit.studies import heat, network
from unikit.studies.drive import derating, drive
from unikit.studies.motor import point

from . import examples

HILL = {"slope": 0.11, "speed": 3.0, "trim": "level", "duration": 2400.0, "winding_start": 310.0}


def test_magnets_and_housing_agree_at_the_end():
    build, case = examples.strong(), examples.case(**HILL)
    result = heat.study(build, case)
    again = heat.network(build, case, build.gears.named("long"), result.housing_end)
    assert again.losses[0] == pytest.approx(result.copper_loss, rel=1e-4)


def test_the_continuous_torque_settles_at_the_limit():
    """A motor that gives it for ever, by equations of its own: copper and magnets at the temperatures they reach."""
    build, case = examples.strong(), examples.case(**HILL)
    gear, machine = build.gears.named("long"), build.motor
    chain, limit = heat.network(build, case, gear), 155.0 + 273.15
    to_air = heat.paths(build, case.speed, case.air_temperature)["housing", "air"]
    torque = heat.continuous_torque(build, chain, limit)
    floor = build.rider.torque_floor
    angle = np.linspace(0, np.pi, 20_001)
    push = floor + (1 - floor) * np.sin(angle)
    pulse = simpson(push**2, x=angle) * np.pi / simpson(push, x=angle) ** 2
    iron = chain.losses[1]

    def housing_error(housing):
        constant = machine.torque_constant_peak * (1 + machine.magnet_temperature_coefficient * (housing - 298.15))
        resistance = machine.phase_resistance * (1 + 0.00393 * (limit - 293.15)) / (1 + 0.00393 * 5)
        copper = 1.5 * resistance * pulse * (torque / constant) ** 2
        return case.air_temperature + (copper + iron) / to_air - housing, copper

    housing = brentq(lambda t: housing_error(t)[0], 250, 600, xtol=1e-10)
    copper = housing_error(housing)[1]
    winding = housing + (copper + iron) / machine.stator_to_housing + copper / machine.winding_to_stator
    assert winding == pytest.approx(limit, abs=1e-6)


@pytest.mark.parametrize("location", ["spindle", "one crank"])
def test_a_case_that_asks_the_continuous_torque_ends_at_the_limit(location):
    build = examples.strong(assist__driving_gain__long=0.9, sensor__location=location)
    gear = build.gears.named("long")
    plain = HILL | {"trim": "none", "duration": 3e5, "winding_start": None}

    def over(slope):
        case = examples.case(**(plain | {"slope": slope}))
        return heat.study(build, case, gear, points=2).continuous_torque - point(build, case, gear).motor_torque

    case = examples.case(**(plain | {"slope": brentq(over, 0.01, 0.45, xtol=1e-6)}))
    result = heat.study(build, case, gear, points=3)
    assert result.winding_steady == pytest.approx(min(145 + 273.15, build.controller.derating_start), abs=0.05)
    assert result.winding_end == pytest.approx(result.winding_steady, abs=0.01)


def test_a_sensor_on_one_crank_halves_the_square_of_the_continuous_torque():
    case = examples.case(**HILL)
    torques = []
    for location in ("spindle", "one crank"):
        build = examples.strong(sensor__location=location)
        torques.append(heat.continuous_torque(build, heat.network(build, case, build.gears.named("long")), 428.15))
    assert torques[0] / torques[1] == pytest.approx(np.sqrt(2), rel=0.02)  # not quite: the magnets are equally warm in both


def test_derating_begins_when_the_study_says():
    build, case = examples.strong(), examples.case(**(HILL | {"slope": 0.3, "trim": "none"}))
    result = heat.study(build, case)
    assert 0 < result.derating_after < case.duration
    gear = build.gears.named("long")
    chain = heat.network(build, case, gear, result.housing_end)
    before, there, after = chain.at(result.derating_after + np.array([-1.0, 0.0, 1.0]))[:, 0]
    assert there == pytest.approx(build.controller.derating_start, abs=0.02)
    assert derating(build, before) == 1 and derating(build, after) < 1
    later = result.time > result.derating_after
    assert (np.diff(result.reserve[later]) <= 0).all() and result.reserve[-1] < result.reserve[~later].min()


def test_the_reserve_is_spent_before_the_winding_reaches_the_end_of_derating():
    build = replace(examples.build(), {"controller.derating_start": "45 °C", "controller.derating_end": "60 °C", "assist.trim_cap": 30.0})
    result = heat.study(build, examples.case(**(HILL | {"slope": 0.08, "speed": 1.5, "duration": 3000.0})), points=601)
    spent = result.reserve_spent_after
    assert result.derating_after < spent < 3000.0
    assert result.reserve[result.time < spent].min() > 0 and result.reserve[result.time >= spent].max() == 0
    state = drive(build, 0.8, np.interp(spent, result.time, result.winding))
    assert 0 < state.derating < 1  # the peak of the pulse meets the cut-back cap before nothing is left


def test_losses_that_run_away_are_held_where_no_motor_is_left():
    build = examples.strong(motor__winding_to_stator=0.4, assist__driving_gain__long=3.0)
    case = examples.case(**(HILL | {"slope": 0.3, "trim": "none", "duration": 1e6}))
    result = heat.study(build, case)
    assert result.winding_steady == np.inf and result.summary()["winding if it went on for ever"] == "no limit"
    assert result.winding.max() == pytest.approx(network.HOTTEST, abs=1e-3)
    assert 0 < result.derating_after < result.limit_after < 600
    assert (np.diff(result.winding) >= -1e-9).all()


def test_nothing_happens_in_no_time():
    build = examples.build()
    result = heat.study(build, examples.case(duration=0.0, winding_start=333.15))
    assert result.winding_end == result.housing_end == pytest.approx(333.15)
    assert (result.time == 0).all() and np.isfinite(result.reserve).all()


def test_a_motor_without_losses_cools_to_the_air():
    build = examples.strong(motor__hysteresis_torque=0.0, motor__eddy_drag=0.0, assist__driving_gain__long=0.0)
    result = heat.study(build, examples.case(trim="none", winding_start=360.0, duration=1e5))
    assert result.winding_end == pytest.approx(293.15, abs=1e-3) and result.winding_steady == pytest.approx(293.15)
    assert result.derating_after == result.limit_after == result.magnet_limit_after == np.inf


def test_a_build_without_motor_is_refused_in_one_sentence():
    with pytest.raises(ValueError, match=r"build 'Harbour ungeared' has no motor: the heat study needs one"):
        heat.study(examples.build("harbour_ungeared"), examples.case())
