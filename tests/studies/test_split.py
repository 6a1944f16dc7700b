"""The split of torque against brute force, and the power that must not vanish."""

import warnings

import numpy as np
import pytest
from scipy.integrate import quad, trapezoid
from scipy.optimize import brentq

from unikit.inputs import draw, replace
from unikit.inputs.paths import leaves
from unikit.studies import ride
from unikit.studies.drive import drive
from unikit.studies.loads import loads, trim_torque
from unikit.studies.split import assist_gain, torque_split

from . import examples

HALF = np.linspace(0.0, np.pi, 10_001)  # two halves that share the dead centres: 20,001 points over the turn


def shape(build, angle):
    """Crank torque over its mean."""
    floor = build.rider.torque_floor
    return (floor + (1 - floor) * np.sin(angle)) / (floor + (1 - floor) * 2 / np.pi)


def felt(build, angle):
    """What the sensor makes of it in the first and the second half of the turn."""
    push = shape(build, angle)
    return (2 * push, 0 * push) if build.sensor.location == "one crank" else (push, push)


def mean(halves):
    return sum(trapezoid(half, HALF) for half in halves) / (2 * np.pi)


def electric(state, torque, rotation):
    """Copper, bridge and battery at a motor torque of one moment."""
    current = torque / state.torque_constant_peak
    copper, bridge = 1.5 * state.phase_resistance * current**2, 1.5 * state.bridge_resistance * current**2
    power = torque * rotation + copper + bridge + state.standby_power
    source, inner = state.open_circuit_voltage, state.pack_resistance
    battery = (source - np.sqrt(source**2 - 4 * inner * power)) / (2 * inner)
    return {
        "copper_loss": copper,
        "bridge_loss": bridge,
        "pack_loss": inner * battery**2,
        "battery_power": source * battery,
        "battery_current": battery,
    }


def brute(build, gear, speed, needed, state, trim):
    """The split on a dense grid of crank angles, the pedal torque by a root finder."""
    radius = build.wheel.circumference / (2 * np.pi)
    rotation, cadence = speed / radius, speed / radius / gear.ratio
    limits = state.limits(rotation)
    drag = (state.hysteresis_torque + state.eddy_drag * rotation) if rotation > 0 else 0.0
    trim = min(max(trim, limits.lowest), limits.highest)
    halves = felt(build, HALF)

    def answer(pedal):
        gain = build.assist.driving_gain[gear.name] if pedal >= 0 else build.assist.resisting_gain[gear.name]
        legs = pedal * gear.efficiency / gear.ratio if pedal >= 0 else pedal / (gear.efficiency * gear.ratio)
        return legs, [np.clip(gain * pedal * half + trim, limits.lowest, limits.highest) for half in halves]

    def missing(pedal):
        legs, given = answer(pedal)
        return legs + mean(given) - needed - drag

    pedal = brentq(missing, -1e4, 1e4, xtol=1e-12, rtol=1e-14)
    legs, given = answer(pedal)
    every = np.concatenate(given)
    found = {name: mean([electric(state, half, rotation)[name] for half in given]) for name in electric(state, 0.0, 0.0)}
    crank, through = pedal * cadence, legs * rotation
    return found | {
        "pedal_torque": pedal,
        "leg_wheel_torque": legs,
        "motor_torque": mean(given),
        "motor_peak": every[np.abs(every).argmax()],
        "reserve": max(limits.highest - every.max(), 0.0),
        "highest": limits.highest,
        "lowest": limits.lowest,
        "motor_drag": drag,
        "phase_current": np.abs(every).max() / state.torque_constant_peak,
        "iron_loss": drag * rotation,
        "leg_power": crank,
        "gear_loss": (1 - gear.efficiency) * (crank if pedal >= 0 else -through),
        "leg_share": legs / (needed + drag),
        "consumption": found["battery_power"] / speed,
    }


def questions(count, seed):
    """Random builds, speeds, wheel torques and trims: driving, resisting, within and far beyond the limits."""
    rng = np.random.default_rng(seed)
    for _ in range(count):
        build = examples.strange(rng)
        state = drive(build, rng.uniform(0.2, 1.0), rng.uniform(270, 410), rng.uniform(270, 370))
        needed = rng.choice([rng.uniform(-60, 150), rng.uniform(-5, 30)]).item()
        trim = rng.choice([0.0, rng.uniform(-12, 12), rng.uniform(-90, 90)]).item()
        yield build, build.gears.named("long"), rng.uniform(0.3, 14.0), needed, state, trim


def test_brute_force_over_random_builds():
    met = set()
    for build, gear, speed, needed, state, trim in questions(250, 1):
        split, expected = torque_split(build, gear, speed, needed, state, trim), brute(build, gear, speed, needed, state, trim)
        for name, value in expected.items():
            assert getattr(split, name) == pytest.approx(value, rel=1e-5, abs=1e-5), name
        met.add("driving" if split.pedal_torque > 0 else "resisting")
        met.add("clipped" if split.clipped > 1e-9 else "free")
        if split.reserve == 0 and split.highest > 0:
            met.add(split.highest_by)
        met.add(build.sensor.location)
        met.add("feeding back" if split.battery_power < 0 else "drawing")
        met.add("trim beyond the limits" if abs(split.trim) < abs(trim) else "trim within")
    # the random questions must really have been strange enough
    wanted = {"driving", "resisting", "clipped", "free", "torque cap", "voltage", "battery current", "phase current", "derating"}
    assert wanted | {"one crank", "spindle", "feeding back", "trim beyond the limits"} <= met


@pytest.mark.parametrize("location", ["one crank", "spindle"])
@pytest.mark.parametrize("needed", [-35.0, -3.0, 4.0, 25.0, 60.0])
@pytest.mark.parametrize("trim", [-6.0, 0.0, 8.0])
def test_far_from_every_limit_the_split_is_exact(location, needed, trim):
    build = examples.strong(sensor__location=location, gears__gear__long__ratio=1.63)
    gear, state, speed = build.gears.named("long"), drive(build, 0.6), 5.0
    split, rotation = torque_split(build, gear, speed, needed, state, trim), speed / build.wheel.radius
    drag = state.hysteresis_torque + state.eddy_drag * rotation
    resisting = needed + drag < trim
    gain = 0.22 if resisting else 0.34
    lever = 1 / (gear.efficiency * gear.ratio) if resisting else gear.efficiency / gear.ratio
    pedal = (needed + drag - trim) / (lever + gain)
    assert split.pedal_torque == pytest.approx(pedal, rel=1e-9)
    assert split.motor_torque == pytest.approx(gain * pedal + trim, rel=1e-9)
    assert split.clipped == pytest.approx(0.0, abs=1e-12)
    for name in ("copper_loss", "bridge_loss", "pack_loss", "battery_power", "battery_current"):
        expected = 0.0
        for half in (0, 1):
            value = lambda angle, half=half: electric(state, gain * pedal * felt(build, angle)[half] + trim, rotation)[name]  # noqa: B023
            expected += quad(value, 0.0, np.pi, epsabs=0, epsrel=1e-12)[0] / (2 * np.pi)
        assert getattr(split, name) == pytest.approx(expected, rel=1e-9), name
    moments = gain * pedal * np.array([shape(build, 0.0), shape(build, np.pi / 2)]) * (2 if location == "one crank" else 1) + trim
    moments = np.append(moments, trim) if location == "one crank" else moments
    assert split.reserve == pytest.approx(split.highest - moments.max(), rel=1e-9)
    assert (split.motor_peak, split.asked_peak) == pytest.approx(2 * (moments[np.abs(moments).argmax()],), rel=1e-9)


def balance(split, speed, radius, scale=0.0):
    """What goes in and what comes out, each from its own formula, over their size."""
    into = split.battery_power + split.leg_power
    out = split.wheel_torque * speed / radius
    out = out + split.gear_loss + split.iron_loss + split.copper_loss + split.bridge_loss + split.standby + split.pack_loss
    return np.abs(into - out) / (np.abs(split.battery_power) + np.abs(split.leg_power) + np.abs(out) + 1e-12)


def test_no_power_vanishes():
    for build, gear, speed, needed, state, trim in questions(400, 2):
        split = torque_split(build, gear, speed, needed, state, trim)
        assert balance(split, speed, build.wheel.radius) < 1e-9
        alone = torque_split(build, gear, speed, needed, None)
        assert balance(alone, speed, build.wheel.radius) < 1e-12
        assert alone.leg_power - alone.gear_loss == pytest.approx(needed * speed / build.wheel.radius, rel=1e-12)


def test_losses_are_never_gains():
    for build, gear, speed, needed, state, trim in questions(200, 3):
        split = torque_split(build, gear, speed, needed, state, trim)
        for name in ("gear_loss", "iron_loss", "copper_loss", "bridge_loss", "standby", "pack_loss"):
            assert getattr(split, name) >= 0, name


def test_when_the_motor_reaches_its_cap_the_pedals_take_the_rest():
    build = replace(examples.build(), {"assist.torque_cap": 5.0})
    gear = build.gears.named("long")
    wide = torque_split(examples.build(), gear, 4.0, 60.0, drive(examples.build()))
    narrow = torque_split(build, gear, 4.0, 60.0, drive(build))
    assert narrow.motor_peak == 5.0 and narrow.highest_by == "torque cap" and narrow.reserve == 0
    assert narrow.pedal_torque > wide.pedal_torque
    assert narrow.leg_wheel_torque + narrow.motor_torque - narrow.motor_drag == pytest.approx(60.0, rel=1e-12)
    assert narrow.asked_peak > 10 and 0.5 < narrow.clipped < 1


def test_trim_beyond_what_the_motor_can_is_lost_and_counted():
    build = replace(examples.build(), {"assist.torque_cap": 3.0, "assist.driving_gain.long": 0.0})
    split = torque_split(build, build.gears.named("long"), 4.0, 20.0, drive(build), 9.0)
    assert (split.trim, split.motor_torque, split.asked_peak) == pytest.approx((3.0, 3.0, 9.0))
    assert split.clipped == pytest.approx(2 / 3)


def test_no_drive_means_no_trim_no_assist_no_battery():
    build = examples.build()
    split = torque_split(build, build.gears.named("long"), 4.0, 20.0, None, 9.0)
    assert split.motor_torque == split.trim == split.battery_power == split.consumption == split.reserve == 0
    assert split.leg_share == 1 and split.highest_by == split.lowest_by == "no motor"


def test_the_gear_without_gain_leaves_all_to_the_legs():
    build = examples.build()
    split = torque_split(build, build.gears.named("direct"), 4.0, 20.0, drive(build))
    assert split.motor_torque == 0 and split.leg_share == 1
    assert split.pedal_torque == pytest.approx(20.0 + split.motor_drag)  # the dead motor still drags
    assert assist_gain(examples.build("harbour_ungeared"), gear=examples.build("harbour_ungeared").gears.gear[0]) == 0


def test_arrays_are_a_loop_of_single_calls():
    build = examples.build()
    gear, state = build.gears.named("long"), drive(build)
    speed, torque, trim = (
        np.array([0.0, 0.4, 5.0, 12.0])[:, None, None],
        np.array([-50.0, 0.0, 9.0, 130.0])[:, None],
        np.array([-7.0, 0, 7.0]),
    )
    whole = torque_split(build, gear, speed, torque, state, trim)
    for place in np.ndindex(4, 4, 3):
        one = torque_split(build, gear, speed[place[0], 0, 0].item(), torque[place[1], 0].item(), state, trim[place[2]].item())
        for name, value in vars(one).items():
            entry = getattr(whole, name)[place]
            assert entry == value if isinstance(value, str) else entry == pytest.approx(value, rel=1e-12, abs=1e-12), name
            assert not isinstance(value, np.ndarray), name


def fields_of_numbers():
    """Every number of the build that may be an array."""
    for path, spec, value in leaves(examples.build()):
        if spec.form == "number" and not spec.whole and value is not None:
            yield path, [float(np.clip(share * value, spec.low, spec.high)) for share in (0.98, 1.0, 1.015)]


@pytest.mark.parametrize(("path", "values"), list(fields_of_numbers()), ids=lambda item: item if isinstance(item, str) else "")
def test_one_number_as_an_array_is_a_loop_of_builds(path, values):
    case = examples.case(slope=0.05, trim="steps", speed=3.5)
    wide = replace(examples.build(), {path: np.array(values)})
    column = ride.study(wide, case)
    for place, value in enumerate(values):
        one = ride.study(replace(examples.build(), {path: value}), case)
        for name, expected in vars(one).items():
            entry = getattr(column, name)
            entry = entry[place] if np.ndim(entry) else entry
            assert entry == expected if isinstance(expected, str) else entry == pytest.approx(expected, rel=1e-11), name


def test_drawn_builds_are_a_loop_of_builds():
    build = examples.build()
    drawn = draw(build, 25, 4)
    values = {path: value for path, _, value in leaves(drawn) if path in build.spreads}
    assert len(values) == len(build.spreads) > 3
    for trim, slope in (("none", -0.06), ("level", 0.12)):
        case = examples.case(slope=slope, trim=trim)

        def split_of(build, case=case):
            gear, state = build.gears.named("long"), drive(build, case.state_of_charge)
            return torque_split(build, gear, case.speed, loads(build, case).wheel_torque, state, trim_torque(build, case))

        whole = split_of(drawn)
        for place in range(25):
            one = split_of(replace(build, {path: value[place].item() for path, value in values.items()}))
            for name, expected in vars(one).items():
                entry = np.broadcast_to(getattr(whole, name), (25,))[place]
                assert entry == expected if isinstance(expected, str) else entry == pytest.approx(expected, rel=1e-11), name


def test_standing_still_on_a_slope():
    build, case = examples.build(), examples.case(speed=0.0, slope=0.1, trim="level")
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        split = torque_split(build, build.gears.named("long"), 0.0, loads(build, case).wheel_torque, drive(build), trim_torque(build, case))
    assert split.cadence == split.leg_power == split.gear_loss == split.motor_drag == 0
    assert split.motor_torque > 0 and split.copper_loss > 0
    assert split.consumption == np.inf
    assert balance(split, 0.0, build.wheel.radius) < 1e-12


def test_torque_far_beyond_any_leg_is_still_a_number():
    build = examples.build()
    split = torque_split(build, build.gears.named("long"), 5.0, np.array([-1e5, 1e5]), drive(build))
    assert np.isfinite(split.pedal_torque).all()
    assert split.leg_wheel_torque + split.motor_torque == pytest.approx(np.array([-1e5, 1e5]) + split.motor_drag, rel=1e-12)
