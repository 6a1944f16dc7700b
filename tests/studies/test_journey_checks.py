"""A ride along a route against steady studies and published road checks, through the ride model itself; its pieces, steps and kernels."""

import builtins
from dataclasses import replace as with_fields

import numpy as np
import pytest
from made_routes import flat, hilly
from scipy.optimize import brentq

from unikit.formulas import _journey as j
from unikit.formulas import air, road
from unikit.inputs import replace
from unikit.inputs.route import make_route
from unikit.studies import journey, ride, riding

from .examples import build, case

MARTIN = "Martin, Milliken, Cobb, McFadden, Coggan 1998, J. Appl. Biomech. 14:276-291, worked example of the appendix; read, secondary"
ROAD = {"road.rolling_force", "road.slope_force", "road.drag_force"}


def legs_alone(mass, **changes):
    """A machine without a motor that legs of any strength drive through a gear without loss, its wheel of 0.311 m."""
    made = replace(
        build("harbour_ungeared"), {"motor": None, "controller": None, "packs": None, "wiring": None, "sensor": None, "assist": None}
    )
    plain = {
        "rider.mass": 60.0,
        "rider.critical_power": 150.0,
        "rider.zero_cadence_torque": 290.0,
        "rider.zero_torque_cadence": 41.0,
        "rider.comfortable_cadence": 14.0,
        "rider.greatest_cadence": 15.0,
        "rider.greatest_pedal_speed": 5.0,
        "wheel.rolling_circumference": 2 * np.pi * 0.311,
        "wheel.bearing_drag": 0.0,
        "wheel.bearing_drag_per_speed": 0.0,
        "cranks.length": made.cranks.reference_length,
    }
    gear = f"gears.gear.{made.gears.engaged}"
    made = replace(made, plain | {f"{gear}.ratio": 2.5, f"{gear}.efficiency": 1.0} | changes)
    return replace(made, {"rider.mass": made.rider.mass + mass - made.total_mass})


def steady_case(density, **changes):
    """A case whose air has a density at sea level."""
    warm = brentq(lambda kelvin: air.density_at(0.0, kelvin) - density, 230.0, 330.0, xtol=1e-12)
    return case(**({"speed": 0.5, "wanted_speed": 20.0, "air_temperature": warm} | changes))


def settled(made, asked, way, speed=None, **parameters):
    """The ride from a speed, without slowing down for the end: its course, and numbers of the march put in its place."""
    rides = riding.prepare(made, asked, way)
    rides.ceiling[:] = np.maximum(rides.ceiling[:, :1], rides.ceiling.max())
    if speed is not None:
        rides.start[:, j.SPEED] = speed
    for name, value in parameters.items():
        rides.parameters[:, getattr(j, name)] = value
    return riding.run(rides, compiled=False), rides


@pytest.mark.checks("published", *ROAD, "road.bearing_force", "road.acceleration_force")
def test_martins_example_ridden():
    """P-ROAD-01 to 06, P-RNG-01: the power of the example takes the ride from 8.28 to 8.45 m/s in 56.42 s, part by part as printed."""
    gear = f"gears.gear.{build('harbour_ungeared').gears.engaged}"
    made = legs_alone(
        90.0,
        **{
            "rider.drag_area": 0.2565 + 0.0044,
            "wheel.rolling_coefficient": 0.0032,
            "wheel.bearing_drag": 0.091,
            "wheel.bearing_drag_per_speed": 0.0087,
            "wheel.inertia": 0.14,
            f"{gear}.efficiency": 0.976,
        },
    )
    wind = road.relative_wind(8.36, 2.94, np.radians(310), np.radians(340))
    asked = steady_case(1.2234, leg_power=213.3, hard_power=213.3, head_wind=float(wind.head_wind))
    length = 471.8
    way = make_route("road", MARTIN, np.linspace(0, length, 101), np.linspace(0, length, 101) * 0.003 / np.hypot(1, 0.003))
    found, _ = settled(made, replace(asked, {"altitude": 0.0}), way, 8.28, CRITICAL=250.0)
    sums, time = found.totals[0], found.end[0, j.TIME]
    assert time == pytest.approx(56.42, abs=0.1)
    # 0.7 W, as much as the printed speeds leave open, are 0.05 m/s at the end
    assert found.end[0, j.SPEED] == pytest.approx(8.45, abs=0.06)
    assert sums[j.SUM_AIR] / time == pytest.approx(158.8, abs=0.8)  # the printed speeds are rounded; it grows with the square of them
    assert sums[j.SUM_ROLLING] / time == pytest.approx(23.6, abs=0.1)
    assert sums[j.SUM_BEARING] / time == pytest.approx(1.4, abs=0.05)
    assert sums[j.SUM_SLOPE] / time == pytest.approx(22.1, abs=0.1)
    assert sums[j.SUM_KINETIC] / time == pytest.approx(2.3, abs=0.8)
    assert sums[j.LEGS_GIVE] / time == pytest.approx(213.3, abs=0.3)
    at_wheel = sums[j.LEGS_AT_WHEEL] / length
    assert at_wheel / 3.6 == pytest.approx(6.918, abs=0.02), "P-RNG-01: 24.90 N are 6.918 Wh/km"


@pytest.mark.checks("independent", *ROAD)
def test_power_of_150_watts_on_the_flat():
    """P-ROAD-13: 6.6649 m/s, the root of the cubic by numpy."""
    made = legs_alone(90.0, **{"rider.drag_area": 0.6325, "wheel.rolling_coefficient": 0.006})
    found, _ = settled(made, steady_case(1.225, leg_power=150.0, hard_power=150.0), flat(6000.0))
    assert found.end[0, j.SPEED] == pytest.approx(6.6649, abs=0.001)
    cubic = np.roots([0.5 * 1.225 * 0.6325, 0.0, 0.006 * 90 * 9.81, -150.0])
    assert found.end[0, j.SPEED] == pytest.approx(float(cubic[np.isreal(cubic)].real[0]), abs=1e-6)


FREE_RUNNING = {"rider.backward_strength": 0.0, "brake.kind": "none", "brake.greatest_torque": 0.0}


@pytest.mark.checks("independent", *ROAD)
def test_a_descent_that_nothing_holds_ends_at_the_coasting_speed():
    """P-ROAD-12: 10.008 m/s down 5 %, by integration to 2,000 s."""
    made = legs_alone(90.0, **{"rider.drag_area": 0.6325, "wheel.rolling_coefficient": 0.006} | FREE_RUNNING)
    found, _ = settled(made, steady_case(1.225, wanted_speed=3.0), flat(3000.0, slope=-0.05))
    density = 1.225 * air.density_at(-3000 * 0.05 / np.hypot(1, 0.05), 288.15) / air.density_at(0.0, 288.15)
    wanted = np.sqrt(2 * 90 * 9.81 * (0.05 - 0.006) / np.hypot(1, 0.05) / (density * 0.6325))
    assert found.end[0, j.SPEED] == pytest.approx(wanted, abs=0.005)
    assert wanted * np.sqrt(density / 1.225) == pytest.approx(10.008, abs=0.005)
    assert found.totals[0, j.OVER] > 2000


@pytest.mark.checks("published", "road.slope_force")
def test_what_coasts_down_at_a_speed_asks_twice_its_weight_to_come_back_up():
    """P-ROAD-08: 85.41 N for 50 kg on 5 degrees (g = 9.8 there), drag as the coasting tells it; introductory-physics exercise, read."""
    slope, speed = np.tan(np.radians(5.0)), 6 / 3.6
    drag = 50 * 9.81 * np.sin(np.radians(5.0)) / speed**2
    made = legs_alone(90.0, **{"wheel.rolling_coefficient": 0.001} | FREE_RUNNING)
    own = {"MASS": 50.0, "HEAVY": 50.0, "ROLLING": 0.0, "DRAG_AREA": 2 * drag / 1.225}
    down, _ = settled(made, steady_case(1.225, wanted_speed=1.0), flat(300.0, slope=-slope), 1.0, **own)
    force = 85.41 * 9.81 / 9.8
    asked = steady_case(1.225, leg_power=force * speed, hard_power=force * speed, lowest_cadence=0.2)
    up, _ = settled(made, asked, flat(300.0, slope=slope), 1.0, **own)
    assert down.end[0, j.SPEED] == pytest.approx(speed, rel=0.002)  # the air is 0.3 % denser 26 m further down
    assert up.end[0, j.SPEED] == pytest.approx(speed, rel=0.002)


@pytest.mark.checks("independent", "road.slope_force")
def test_the_cubic_balance_of_a_hill():
    """P-ROAD-10: 8.013 m/s, from coasting at 12 km/h and pumping down at 32 km/h; recomputed there with scipy."""
    slope, weight = np.tan(np.radians(4.0)), 75 * 9.81 * np.sin(np.radians(4.0))
    factor = weight / (12 / 3.6) ** 2
    power = (factor * (32 / 3.6) ** 2 - weight) * 32 / 3.6
    made = legs_alone(90.0)
    own = {"MASS": 75.0, "HEAVY": 75.0, "ROLLING": 0.0, "DRAG_AREA": 2 * factor / 1.225, "LEG_POWER": power, "HARD_POWER": power}
    own |= {"CRITICAL": power, "STRENGTH": 1e5, "PACE": 20.0}
    found, _ = settled(made, steady_case(1.225), flat(400.0, slope=slope), **own)
    assert found.end[0, j.SPEED] == pytest.approx(8.013, abs=0.02)  # 28 m further up the air is 0.3 % thinner


@pytest.mark.checks("independent")
def test_climb_and_descent_energy():
    """P-RNG-05: 100 kg up 100 m are 27.25 Wh; P-RNG-09: 95 kg down 150 m at 60 % give back no more than 23.298 Wh."""
    way = flat(2000.0, slope=0.05)
    height = float(way.altitude[-1])
    up = journey.study(legs_alone(100.0), steady_case(1.225, wanted_speed=4.0), way, compiled=False)
    assert up.uphill / 3600 * 100 / height == pytest.approx(27.25, abs=0.01)
    assert up.slope == up.uphill
    made = replace(build(), {"rider.mass": build().rider.mass + 95.0 - build().total_mass})
    down = journey.study(made, case(state_of_charge=0.4), flat(3000.0, slope=-0.05), compiled=False)
    fallen = -down.altitude[-1]
    assert -down.slope / 3600 * 0.6 * 150 / fallen == pytest.approx(23.298, abs=0.005)
    assert 0 < down.fed_back < -down.slope


@pytest.mark.checks("independent", "pack.delivered_energy")
def test_range_is_energy_over_consumption():
    """P-RNG-04: 90 % of 360 Wh at 9 Wh/km go 36 km."""
    totals, end = np.zeros(j.TOTALS), np.zeros(j.STATE)
    totals[j.CELLS], end[[j.GONE, j.MET]] = 9.0 * 3600 * 10, 10e3
    end[j.CHARGE_LEFT] = 0.5
    assert journey.ranges(totals, end, 10e3, 0.1, 0.9 * 360 * 3600 - totals[j.CELLS]) == pytest.approx(36e3, abs=1e-6)


@pytest.mark.parametrize("slope", [0.0, 0.03, -0.03])
@pytest.mark.checks("independent")
def test_a_long_even_way_settles_to_the_steady_study(slope):
    made = replace(build(), {"motor.magnet_temperature_coefficient": 0.0})
    asked = case(speed=4.0, wanted_speed=4.0, slope=slope, air_temperature=293.15, trim="steps", state_of_charge=0.7)
    way = flat(3000.0, slope=slope)
    found = journey.study(made, asked, way, compiled=False)
    at = 200 if slope <= 0 else 150
    there = replace(asked, {"state_of_charge": float(found.charge[at - 1]), "altitude": float(way.altitude[at])})
    steady = ride.study(made, there, winding_temperature=float(found.winding[at - 1]))
    assert found.speed[at] == pytest.approx(4.0, abs=1e-9)
    assert found.pedal_torque[at] * 4.0 / made.wheel.radius / made.gears.named("long").ratio == pytest.approx(steady.leg_power, rel=1e-4)
    # the steady study counts the sag that lasts, the ride what has come of it after 500 s
    assert found.battery_power[at] == pytest.approx(steady.battery_power, rel=2e-3)


@pytest.mark.checks("independent", "road.speed_at_power")
def test_legs_at_their_power_settle_to_the_speed_of_that_power():
    made = legs_alone(90.0, **{"rider.drag_area": 0.5, "wheel.rolling_coefficient": 0.008, "wheel.bearing_drag": 0.3})
    for slope, wind in ((0.0, 3.0), (0.02, -1.0), (0.05, 0.0)):
        asked = steady_case(1.2, leg_power=140.0, hard_power=140.0, head_wind=wind, cross_wind=2.0)
        way = flat(4000.0, slope=slope)
        found, _ = settled(made, asked, way)
        density = air.density_at(float(way.altitude[-2:].mean()), asked.air_temperature)
        wanted = road.speed_at_power(140.0, 90.0, slope, wind, density, 0.5, 0.008, 2.0, 0.3, 0.0)
        assert found.end[0, j.SPEED] == pytest.approx(float(wanted), rel=2e-5)


# Common practice, no source: 4 to 5 Wh/km from the pack for a geared assisted unicycle ridden gently, so that 300 Wh go about 70 km.
@pytest.mark.checks("independent")
def test_common_practice_consumption_of_a_gentle_ride():
    rng = np.random.default_rng(5)
    distance = np.arange(0.0, 12_001.0, 10.0)
    stop = np.where(np.arange(len(distance)) % 90 == 89, 15.0, 0.0)
    way = make_route("town", "made for a test", distance, 15 * np.sin(distance / 600 + rng.uniform(0, 6)), stop=stop)
    made = replace(build(), {"assist.driving_gain.long": 1.3, "assist.torque_cap": 40.0, "motor.hysteresis_torque": 0.6})
    found = journey.study(made, case(speed=4.0, wanted_speed=5.0, head_wind=0.5, state_of_charge=1.0), way, compiled=False)
    assert 3.5 < found.consumption / 3.6 < 5.5
    assert 55e3 < 300 * 3600 / found.consumption < 86e3


# Common practice, no source: about 10 Wh/km for an ordinary e-bike, which is ridden faster and gives less with the legs.
@pytest.mark.checks("independent")
def test_common_practice_consumption_of_an_ordinary_electric_bicycle():
    distance = np.arange(0.0, 12_001.0, 10.0)
    stop = np.where(np.arange(len(distance)) % 60 == 59, 15.0, 0.0)
    way = make_route("town", "made for a test", distance, 20 * np.sin(distance / 500), stop=stop)
    changes = {
        "rider.mass": 85.0, "frame.mass": 20.0, "assist.driving_gain.long": 3.0, "assist.torque_cap": 60.0,
        "rider.comfortable_cadence": 11.0, "rider.greatest_cadence": 15.0, "rider.greatest_pedal_speed": 4.0, "cranks.length": 0.17,
    }  # fmt: skip
    asked = case(speed=6.5, wanted_speed=6.9, head_wind=1.5, state_of_charge=1.0)
    found = journey.study(replace(build(), changes), asked, way, compiled=False)
    assert 8 < found.consumption / 3.6 < 12.5


def waves(step):
    distance = np.arange(0.0, 4000.0 + step / 2, step)
    return make_route("waves", "made for a test", distance, 120 + 6 * np.sin(distance / 130) + 1.5 * np.sin(distance / 47))


@pytest.mark.checks("independent")
def test_half_steps_converge():
    """Each halving at least halves the error, from 20 m to 1.25 m: charge, work of the legs, temperature."""
    rides = [
        journey.study(build(), case(speed=4.0, wanted_speed=6.0, state_of_charge=0.9, hard_power=300.0), waves(20 / 2**k), compiled=False)
        for k in range(6)
    ]
    for value in (lambda one: one.charge_end, lambda one: one.legs, lambda one: one.winding[-1]):
        errors = np.abs([value(one) - value(rides[-1]) for one in rides[:-1]])
        assert errors[-1] < errors[0] / 2 ** (len(errors) - 1)
    at_ten, finest = rides[1], rides[-1]
    assert at_ten.charge_end - finest.charge_end == pytest.approx(0.0, abs=1e-4)
    assert at_ten.time == pytest.approx(finest.time, rel=2e-4)


def test_pieces_give_the_same_bits():
    rides = riding.prepare(build(), case(trim="level"), hilly(np.random.default_rng(4)))
    whole, cut = riding.run(rides, compiled=False), riding.run(rides, piece=7, compiled=False)
    for name in ("totals", "end", "extremes", "kept"):
        assert np.array_equal(getattr(whole, name), getattr(cut, name)), name
    many = riding.run_many(rides, compiled=False)
    assert np.array_equal(many.totals, whole.totals)
    assert np.array_equal(many.end, whole.end)


def test_progress_is_told_and_may_stop_it():
    rides = riding.prepare(build(), case(), flat(1000.0))
    heard = []
    riding.run(rides, heard.append, piece=30, compiled=False)
    assert heard == [0.3, 0.6, 0.9, 1.0]
    before = rides.start.copy()

    def stop(share):
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        journey.study(build(), case(), flat(1000.0), progress=stop, compiled=False)
    with pytest.raises(KeyboardInterrupt):
        riding.run(rides, stop, piece=30, compiled=False)
    assert np.array_equal(rides.start, before), "what the ride began with is untouched, so that it can be ridden again"
    assert np.array_equal(riding.run(rides, compiled=False).end, riding.run(rides, piece=30, compiled=False).end)


def test_without_numba_it_rides_on_plain_python(monkeypatch):
    plain = journey.study(build(), case(), flat(500.0), compiled=False)
    own = builtins.__import__

    def refuse(name, *rest, **more):
        if name.partition(".")[0] == "numba":
            raise ImportError(name)
        return own(name, *rest, **more)

    j.compiled.cache_clear()
    monkeypatch.setattr(builtins, "__import__", refuse)
    monkeypatch.setattr(j.importlib.util, "find_spec", lambda name: None)
    try:
        without = journey.study(build(), case(), flat(500.0))
    finally:
        j.compiled.cache_clear()
    assert without.charge_end == plain.charge_end


@pytest.mark.reference
@pytest.mark.parametrize(
    "changes", [{}, {"sensor.location": "one crank"}, {"motor.saturation_current": 40.0}, {"controller.weakening_current": 30.0}]
)
@pytest.mark.checks("independent")
def test_compiled_is_plain_to_a_billionth(changes):
    made, asked = replace(build(), changes), case(trim="steps", state_of_charge=0.3, winding_start=390.0)
    rides = riding.prepare(made, asked, hilly(np.random.default_rng(6), 400))
    plain, fast = riding.run(rides, compiled=False), riding.run(rides)
    for name in ("totals", "end", "extremes", "kept"):
        assert getattr(fast, name) == pytest.approx(getattr(plain, name), rel=1e-9, abs=1e-9), name
    more = with_fields(rides, parameters=np.repeat(rides.parameters, 3, axis=0), start=np.repeat(rides.start, 3, axis=0))
    assert riding.run_many(more).totals == pytest.approx(np.repeat(plain.totals, 3, axis=0), rel=1e-9, abs=1e-9)
