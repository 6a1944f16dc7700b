"""Heat over a case: energy kept, an independent integrator, the moments that matter."""

import warnings

import numpy as np
import pytest
from scipy.integrate import simpson, solve_ivp
from scipy.optimize import brentq

from unikit.formulas import OutsideRangeWarning
from unikit.inputs import InputError, replace
from unikit.inputs.paths import leaves
from unikit.studies import heat, network
from unikit.studies.drive import derating, drive
from unikit.studies.motor import point

from . import examples

HILL = {"slope": 0.11, "speed": 3.0, "trim": "level", "duration": 2400.0, "winding_start": 310.0}


def test_magnets_and_housing_agree_at_the_end():
    build, case = examples.strong(), examples.case(**HILL)
    result = heat.study(build, case)
    again = heat.network(build, case, build.gears.named("long"), result.magnet_end)
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


def by_integrator(build, case, gear):
    """The same course by scipy, with the torque split itself asked at every moment."""
    machine, names = build.motor, ("winding", "stator", "magnets", "housing")
    found, lone = heat.paths(build, case.speed, case.air_temperature), machine.magnet_capacity is None
    sun = (
        machine.emissivity * case.sun * np.hypot(np.pi / 4 * machine.housing_diameter**2, machine.housing_diameter * machine.housing_width)
    )
    capacity = [machine.winding_capacity, machine.stator_capacity, 1.0 if lone else machine.magnet_capacity, machine.housing_capacity]

    def rates(_, kelvin):
        now = dict(zip(names, kelvin, strict=True)) | {"air": case.air_temperature}
        split = point(build, case, gear, now["winding"], now["housing" if lone else "magnets"])
        flow = dict.fromkeys((*names, "air"), 0.0) | {"winding": split.copper_loss, "stator": split.iron_loss, "housing": sun}
        for (one, other), conductance in found.items():
            flow[one] -= conductance * (now[one] - now[other])
            flow[other] += conductance * (now[one] - now[other])
        return [flow[name] / c for name, c in zip(names, capacity, strict=True)]

    start = case.air_temperature if case.winding_start is None else case.winding_start
    time = np.linspace(0.0, case.duration, 61)
    course = solve_ivp(rates, (0.0, case.duration), [start] * 4, rtol=1e-7, atol=1e-6, t_eval=time, max_step=20.0).y.T
    if lone:
        course[:, 2] = course[:, 3]
    return time, course


@pytest.mark.parametrize(
    ("make", "changes"),
    [
        (examples.strong, {"slope": 0.3, "trim": "none"}),
        (examples.described, {"slope": 0.3, "trim": "none", "sun": 800.0, "duration": 1500.0}),
        (examples.build, {"slope": 0.16, "trim": "level", "winding_start": 383.15, "duration": 900.0}),
    ],
    ids=["strong", "all paths", "capped"],
)
def test_the_course_with_derating_by_an_integrator_that_asks_the_split(make, changes):
    build, case = make(), examples.case(**(HILL | changes))
    gear = build.gears.named("long")
    result = heat.study(build, case, gear, points=61)
    time, course = by_integrator(build, case, gear)
    assert course[:, 0].max() > build.controller.derating_start + 3.0
    assert np.stack([result.winding, result.stator, result.magnets, result.housing], axis=1) == pytest.approx(course, abs=0.03)
    assert result.derating_after == pytest.approx(np.interp(build.controller.derating_start, course[:, 0], time), abs=8.0)


def test_derating_begins_when_the_study_says():
    build, case = examples.strong(), examples.case(**(HILL | {"slope": 0.3, "trim": "none"}))
    result = heat.study(build, case)
    assert 0 < result.derating_after < case.duration
    again = heat.study(build, replace(case, {"duration": result.derating_after}), points=31)
    assert again.winding_end == pytest.approx(build.controller.derating_start, abs=1e-3)
    later = result.time > result.derating_after
    assert (np.diff(result.reserve[later]) <= 1e-9).all() and result.reserve[-1] < result.reserve[~later].min()
    assert derating(build, result.winding[~later]).min() == 1 and derating(build, result.winding[later]).max() < 1


def test_moments_after_the_case_are_those_of_a_longer_case():
    build, case = examples.described(), examples.case(**(HILL | {"slope": 0.3, "trim": "none"}))
    long = heat.study(build, replace(case, {"duration": 9000.0}))
    short = heat.study(build, replace(case, {"duration": 90.0}))
    assert 90.0 < short.derating_after < 9000.0
    assert short.derating_after == pytest.approx(long.derating_after, abs=0.5)
    cool = replace(build, {"motor.magnet_limit": long.magnets[-1] - 4.0})
    assert heat.study(cool, replace(case, {"duration": 90.0})).magnet_limit_after == pytest.approx(
        heat.study(cool, replace(case, {"duration": 9000.0})).magnet_limit_after, rel=5e-3
    )


def test_the_legs_take_what_derating_takes_from_the_motor():
    build, case = examples.build(), examples.case(**(HILL | {"slope": 0.16, "winding_start": 383.15}))
    result = heat.study(build, case)
    asked = result.motor_torque[0] + result.leg_torque[0] * build.gears.named("long").efficiency / build.gears.named("long").ratio
    gear = build.gears.named("long")
    given = result.motor_torque + result.leg_torque * gear.efficiency / gear.ratio
    assert given == pytest.approx(np.full(given.shape, asked), rel=1e-9)
    after = result.time > result.reserve_spent_after
    assert 0 < after.sum() < after.size
    assert result.assist_left[~after] == pytest.approx(1.0, abs=1e-6) and result.assist_left[-1] < 0.97
    assert result.foot_force == pytest.approx(result.leg_torque / build.cranks.length)
    assert result.foot_force_end > result.foot_force_start
    assert f"after {result.reserve_spent_after / 60:.1f} min the legs take over" in result.felt
    assert f"{100 * result.assist_left_end:.0f} % of the motor torque left" in result.felt
    cool = heat.study(build, replace(case, {"winding_start": 293.15, "slope": 0.01}))
    assert cool.felt.startswith("nothing") and cool.assist_left.min() == pytest.approx(1.0)


@pytest.mark.parametrize("changes", [{"sun": 600.0}, {"slope": 0.3, "trim": "none"}])
def test_accounts_close_and_name_every_path(changes):
    build, case = examples.described(), examples.case(**(HILL | changes))
    found = dict(zip(*(getattr(heat.accounts(build, case), name) for name in ("entry", "heat")), strict=True))
    made = found["copper loss"] + found["iron loss"] + found["sunshine"]
    left = sum(value for name, value in found.items() if name.endswith("to air"))
    stored = sum(value for name, value in found.items() if name.startswith("stored"))
    assert made == pytest.approx(left + stored, rel=1e-6)
    assert found["stored in magnets"] == pytest.approx(found["stator to magnets"] - found["magnets to housing"], rel=1e-6)
    assert set(found) >= {f"{one} to {other}" for one, other in heat.paths(build, case.speed, case.air_temperature)}
    plain = heat.accounts(examples.strong(), case)
    assert len(plain.heat) == 9 and plain.heat[:3].sum() == pytest.approx(plain.heat[5:].sum(), rel=1e-6)


def test_the_reserve_is_spent_before_the_winding_reaches_the_end_of_derating():
    build = replace(examples.build(), {"controller.derating_start": "45 °C", "controller.derating_end": "60 °C", "assist.trim_cap": 30.0})
    result = heat.study(build, examples.case(**(HILL | {"slope": 0.08, "speed": 1.5, "duration": 3000.0})), points=601)
    spent = result.reserve_spent_after
    assert result.derating_after < spent < 3000.0
    assert result.reserve[result.time < spent].min() > 0 and result.reserve[result.time >= spent].max() == 0
    state = drive(build, 0.8, np.interp(spent, result.time, result.winding))
    assert 0 < state.derating < 1  # the peak of the pulse meets the cut-back cap before nothing is left


def test_losses_that_would_run_away_are_held_by_derating():
    build = examples.strong(motor__winding_to_stator=0.4, assist__driving_gain__long=3.0)
    case = examples.case(**(HILL | {"slope": 0.3, "trim": "none", "duration": 1e6}))
    result = heat.study(build, case)
    assert result.winding_steady == np.inf and result.summary()["winding if the torque were held for ever"] == "no limit"
    assert build.controller.derating_start < result.winding_end < build.controller.derating_end
    assert 0 < result.derating_after < 600 and result.limit_after == np.inf
    assert (np.diff(result.winding) >= -1e-6).all()


def test_no_network_is_asked_for_a_motor_that_is_lost():
    build = examples.strong(motor__winding_to_stator=0.4, assist__driving_gain__long=3.0)
    now = heat.network(build, examples.case(**(HILL | {"slope": 0.3, "trim": "none"})), build.gears.named("long"))
    assert now.at(np.array([1e5, 1e6]))[:, 0].max() == pytest.approx(network.HOTTEST, abs=1e-3)
    assert (now.steady() == np.inf).all()


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


def test_iron_that_is_too_hot_without_any_torque_leaves_none_for_ever():
    build = examples.strong(motor__eddy_drag=1.0)
    result = heat.study(build, examples.case(speed=25.0, winding_start=300.0, duration=40000.0))
    assert result.continuous_torque == 0.0
    assert result.stator.max() == pytest.approx(network.HOTTEST) and (np.diff(result.stator) >= -1e-6).all()


@pytest.mark.parametrize("seed", range(4))
def test_whatever_a_motor_may_be_its_course_is_finite(seed):
    rng = np.random.default_rng(seed)
    numbers = [(path, spec) for path, spec, value in leaves(examples.described()) if spec.form == "number" and path.startswith("motor")]
    done = 0
    while done < 6:
        changes = {}
        for place in rng.choice(len(numbers), size=4, replace=False):
            path, spec = numbers[place]
            value = rng.choice([spec.low, spec.high, spec.low + (spec.high - spec.low) * rng.uniform() ** 6]).item()
            changes[path] = round(value) if spec.whole else value
        try:
            build = replace(examples.described(), changes)
        except InputError:
            continue
        done += 1
        case = examples.case(**(HILL | {"duration": rng.choice([60.0, 1800.0, 1e5]).item()}))
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", OutsideRangeWarning)
            result, found = heat.study(build, case), heat.accounts(build, case)
        assert np.isfinite(result.winding).all() and np.isfinite(result.foot_force).all(), changes
        assert np.isfinite(found.heat).all(), changes


# -- the controller ------------------------------------------------------------------------


def test_the_switches_warm_by_their_loss_through_the_heat_sink():
    build, case = examples.described(), examples.case(**(HILL | {"duration": 3000.0}))
    result = heat.study(build, case, points=301)
    split = point(build, case, build.gears.named("long"))
    loss, standby = point(build, case, build.gears.named("long"), result.winding[-1], result.magnets[-1]).bridge_loss, 6.0
    assert split.bridge_loss > 0
    sink = case.air_temperature + (loss + standby) / 0.9
    assert result.sink[-1] == pytest.approx(sink, abs=0.05)
    assert result.bridge_hottest == pytest.approx(sink + loss / 2.5, abs=0.05)
    assert result.bridge_limit == 373.15 and result.bridge_limit_after == np.inf


def test_the_switches_by_an_integrator_while_derating_cuts_the_current():
    build = examples.described(controller__bridge_resistance=0.08, controller__bridge_limit=350.0)
    case = examples.case(**(HILL | {"slope": 0.3, "trim": "none", "winding_start": 380.0}))
    result = heat.study(build, case, points=961)
    losses = np.array(
        [point(build, case, build.gears.named("long"), w, m).bridge_loss for w, m in zip(result.winding, result.magnets, strict=True)]
    )
    assert losses.min() < 0.9 * losses.max()

    def rates(time, kelvin):
        across = 2.5 * (kelvin[0] - kelvin[1])
        return [(np.interp(time, result.time, losses) - across) / 12.0, (across + 6.0 - 0.9 * (kelvin[1] - case.air_temperature)) / 180.0]

    air = [case.air_temperature] * 2
    found = solve_ivp(rates, (0, case.duration), air, t_eval=result.time, rtol=1e-8, atol=1e-8, max_step=5.0).y
    assert result.bridge == pytest.approx(found[0], abs=0.3) and result.sink == pytest.approx(found[1], abs=0.3)
    assert result.bridge_hottest > 350.0
    assert result.bridge_limit_after == pytest.approx(np.interp(350.0, found[0][:200], result.time[:200]), abs=1.0)


def test_a_controller_that_is_not_described_is_not_judged():
    result = heat.study(examples.silent(), examples.case(**HILL))
    assert result.bridge is None and result.bridge_limit_after is None
    assert not any("switches" in label for label in result.summary())


# -- over speed ---------------------------------------------------------------------------------


def test_continuous_torque_over_speed_is_that_of_single_speeds():
    build, case = examples.described(), examples.case(**(HILL | {"sun": 500.0}))
    over = heat.lasting(build, case, fastest=8.0, points=9)
    for speed, torque in zip(over.speed, over.torque, strict=True):
        here = replace(case, {"speed": float(speed), "trim": "none"})
        single = heat.continuous_torque(build, heat.network(build, here, build.gears.named("long")), 388.15, build.motor.magnet_limit)
        assert torque == pytest.approx(single, rel=1e-9)
    assert over.torque[0] < over.torque[4] and (np.diff(over.to_air) > 0).all()
    shade = heat.lasting(build, replace(case, {"sun": 0.0}), fastest=8.0, points=9)
    assert (shade.torque > over.torque).all()
    weak = heat.lasting(replace(build, {"motor.magnet_limit": 315.0}), case, fastest=8.0, points=9)
    assert (weak.by == "magnets").all() and (weak.torque < over.torque).all()
    hot = heat.lasting(replace(build, {"motor.insulation_class": "A"}), case)
    assert (hot.by == "winding limit").all()
