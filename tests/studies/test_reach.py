"""The limits of the drive: energy at every point of the map, what is met at its ends, and the hazards by hand."""

import numpy as np
import pytest

from unikit.formulas import motor as motor_formulas
from unikit.inputs import replace
from unikit.studies import motor, reach
from unikit.studies.drive import drive

from . import examples

WEAK = {
    "controller.weakening_current": 30.0,
    "motor.saturation_current": 110.0,
    "motor.direct_inductance": 0.00021,
    "assist.torque_cap": 400.0,
    "motor.demagnetising_current": 110.0,
    "controller.bus_capacitance": 1e-3,
}
PLAIN = {"assist.torque_cap": 400.0}
BUILDS = {"plain": PLAIN, "weakened": WEAK, "slow controller": WEAK | {"controller.electrical_frequency_limit": 120.0}}
SPEED = np.linspace(-22.0, 22.0, 45)
TORQUE = np.linspace(-60.0, 60.0, 61)


def made(name):
    return replace(examples.build(), BUILDS[name])


@pytest.mark.parametrize("name", BUILDS)
@pytest.mark.parametrize("charge", [0.15, 1.0])
def test_the_energy_balances_at_every_point_of_the_map(name, charge):
    """What leaves the cells is what comes out at the shaft and every loss, each by its own formula."""
    build = made(name)
    found = reach.torque_map(build, examples.case(state_of_charge=charge), SPEED, TORQUE, 350.0, 320.0)
    machine, rotation = build.motor, SPEED / build.wheel.radius
    assert 100 < found.allowed.sum() < found.allowed.size
    state = drive(build, charge, 350.0, 320.0)
    square = found.direct_current**2 + found.quadrature_current**2
    per_ampere = 1.5 * machine.pole_pairs
    flux = state.torque_constant_peak / per_ampere / np.sqrt(1 + (found.quadrature_current / state.saturation_current) ** 2)
    direct = machine.direct_inductance or machine.quadrature_inductance
    torque = per_ampere * found.quadrature_current * (flux + (direct - machine.quadrature_inductance) * found.direct_current)
    iron = machine.hysteresis_torque * abs(rotation) + machine.eddy_drag * rotation**2
    losses = {
        "copper": 1.5 * motor_formulas.resistance_at(machine.phase_resistance, 350.0 - 273.15, 25.0) * square,
        "bridge": 1.5 * build.controller.bridge_resistance * square,
        "packs": state.pack_resistance * found.battery_current**2,
    }
    shaft = torque * rotation - iron
    cells = state.open_circuit_voltage * found.battery_current
    rest = cells - shaft - iron - build.controller.standby_power - sum(losses.values())
    greatest = np.nanmax(np.abs(cells))
    there = found.allowed
    assert np.abs(rest[there]).max() <= 1e-9 * greatest
    assert np.abs(torque - TORQUE[:, None])[there].max() <= 1e-9 * TORQUE.max()
    for name, mine in (("copper", found.copper_loss), ("bridge", found.bridge_loss), ("packs", found.pack_loss)):
        assert np.abs(mine - losses[name])[there].max() <= 1e-9 * greatest
    assert np.abs(found.shaft_power - shaft)[there].max() <= 1e-9 * greatest
    assert found.bus_voltage[there] == pytest.approx((state.open_circuit_voltage - state.pack_resistance * found.battery_current)[there])
    outside = ~found.allowed
    assert np.isnan(found.cell_power[outside]).all() and (found.reserve[outside] < 0).all()


@pytest.mark.parametrize("name", BUILDS)
@pytest.mark.parametrize("charge", [0.05, 0.6, 0.97])
def test_at_the_end_nothing_is_left_and_the_named_limit_is_met(name, charge):
    build, case = made(name), examples.case(state_of_charge=charge)
    state = drive(build, charge)
    ends = reach.study(build, case)
    rotation = ends.speed / build.wheel.radius
    seen = set()
    for torque, words in ((ends.highest, ends.highest_by), (ends.lowest, ends.lowest_by)):
        assert np.diagonal(reach.torque_map(build, case, ends.speed, torque).reserve) == pytest.approx(0.0, abs=1e-9)
        at = state.point(torque, rotation)
        current = np.hypot(at.direct_current, at.quadrature_current)
        short = 1 - at.phase_voltage / (at.bus_voltage / np.sqrt(3))
        for word in np.unique(words):
            here = (words == word) & (torque != 0)
            if not here.any():
                continue
            seen.add(str(word))
            met = {
                "phase current": current - state.phase_current_limit,
                "battery current": at.battery_current - state.battery_current_limit,
                "lowest cell voltage": at.bus_voltage - 13 * 3.0,
                "charge current of the packs": at.battery_current + 3 * 3.3,
                "full pack": at.bus_voltage - 13 * 4.18,
                "voltage": short,
                "field weakening": np.minimum(abs(at.direct_current + 30.0), abs(current - state.phase_current_limit)),
            }[str(word)]
            assert np.abs(met[here]).max() <= 1e-7 if word == "field weakening" else np.abs(met[here]).max() <= 2e-8, word
            if word == "field weakening":
                assert np.abs(short[here]).max() <= 1e-9
        reached = torque != 0
        assert (current[reached] <= state.phase_current_limit + 1e-8).all() and (short[reached] >= -1e-8).all()
    assert len(seen) >= 3


@pytest.mark.parametrize("name", BUILDS)
def test_backing_up_mirrors_riding_forward(name):
    build, case = made(name), examples.case(state_of_charge=0.9)
    ends = reach.study(build, case)
    state = drive(build, 0.9)
    back = ends.speed < 0
    assert back.sum() > 20 and ends.speed[0] == pytest.approx(-ends.speed[-1] / 4, rel=0.05)
    again = state.limits(ends.speed / build.wheel.radius)
    assert ends.highest == pytest.approx(again.highest, abs=1e-9) and ends.lowest == pytest.approx(again.lowest, abs=1e-9)
    assert (ends.highest_by == again.highest_by).all() and (ends.lowest_by == again.lowest_by).all()
    grid = reach.torque_map(build, case, SPEED, TORQUE)
    for name in ("allowed", "battery_current", "copper_loss", "cell_power", "direct_current", "reserve"):
        values = getattr(grid, name)
        values = np.where(TORQUE[:, None] == 0, 0.0, values) if name == "reserve" else values  # no torque counts as along the travel
        assert np.asarray(values, float) == pytest.approx(np.asarray(values[::-1, ::-1], float), abs=1e-9, nan_ok=True), name
    assert grid.quadrature_current == pytest.approx(-grid.quadrature_current[::-1, ::-1], abs=1e-9, nan_ok=True)


def test_the_reserve_falls_with_charge_and_with_the_winding():
    build, case = made("weakened"), examples.case()
    charge = np.linspace(0.02, 1.0, 25)
    left = reach.reserve(build, case, SPEED[SPEED >= 0][:, None], 5.0, charge)
    assert left.shape == (23, 25) and (np.diff(left, axis=1) >= -1e-9).all() and np.ptp(left, axis=1).max() > 5
    warm = reach.reserve(build, case, 4.0, 5.0, 0.8, np.linspace(293.15, 430.0, 30))
    assert (np.diff(warm) <= 1e-9).all() and warm[0] > warm[-1] == -5.0
    assert reach.reserve(build, case, 4.0, 5.0) == pytest.approx(drive(build, 0.8).limits(4.0 / build.wheel.radius).highest - 5.0)
    with pytest.raises(ValueError, match="has no motor: there is no reserve"):
        reach.reserve(examples.build("harbour_ungeared"), case, 4.0)


def test_where_the_torque_stops_being_flat_and_where_it_ends():
    for name in BUILDS:
        build, case = made(name), examples.case(state_of_charge=0.7)
        ends, state = reach.study(build, case), drive(build, 0.7)
        for speed, holds in (
            (ends.flat_speed, lambda found: found.highest_by == "phase current"),
            (ends.fastest, lambda found: found.highest > 0),
        ):
            below, above = (state.limits(speed * (1 + side) / build.wheel.radius) for side in (-1e-5, 1e-5))
            assert 1.0 < speed < 25.0 and holds(below) and not holds(above), (name, speed)
    slow = reach.study(made("slow controller"), examples.case())
    assert slow.fastest == pytest.approx(2 * np.pi * 120.0 / 23 * examples.build().wheel.radius, rel=1e-5)
    plain = reach.study(replace(examples.build(), PLAIN | {"controller.standby_power": 0.0}), examples.case())
    assert plain.fastest == pytest.approx(plain.base_speed, rel=1e-5)  # without load the packs keep their voltage
    short = reach.study(examples.build(), examples.case(), fastest=3.0)
    assert short.flat_speed == short.fastest == np.inf


def test_a_step_in_the_torque_is_drawn_upright():
    ends = reach.study(made("slow controller"), examples.case())
    edge = np.argmax((ends.highest == 0) & (ends.speed > 0))
    assert ends.highest[edge - 1] > 10 and ends.speed[edge] - ends.speed[edge - 1] < 1e-4
    assert (np.diff(ends.speed) > 0).all()


def test_the_hazards_by_hand():
    build, case = made("weakened"), examples.case(air_temperature=283.15, winding_start=313.15, state_of_charge=1.0)
    ends = reach.study(build, case)
    radius, machine = build.wheel.radius, build.motor
    assert (ends.winding_temperature, ends.magnet_temperature) == (313.15, 283.15)
    # A trip: the line voltage of the coldest magnets.
    cold = 0.95 * (1 - 0.0012 * (0 - 25))
    assert ends.rating_speed == pytest.approx(63.0 / (np.sqrt(3) * cold / 1.5) * radius, rel=1e-12)
    line = np.sqrt(3) * cold / 1.5 * abs(ends.speed) / radius
    assert ends.trip_voltage == pytest.approx(line, rel=1e-12) and ends.full_voltage == pytest.approx(13 * 4.18)
    assert ends.base_speed == pytest.approx(13 * 4.18 / (np.sqrt(3) * 0.95 * (1 + 0.0012 * 15) / 1.5) * radius, rel=1e-12)
    # Standstill: the whole phase current, and the heat that the copper keeps until the derating begins.
    assert ends.standstill_current == pytest.approx(62.0, rel=1e-9)
    assert ends.standstill_current_rms == pytest.approx(62.0 / np.sqrt(2), rel=1e-9)
    ohm = [1.5 * motor_formulas.resistance_at(machine.phase_resistance, celsius, 25.0) * 62.0**2 for celsius in (40.0, 115.0)]
    assert ends.standstill_loss == pytest.approx(ohm[0], rel=1e-9)
    kelvin = np.linspace(0.0, 75.0, 20001)
    power = ohm[0] + (ohm[1] - ohm[0]) * kelvin / 75.0
    assert ends.standstill_time == pytest.approx(420.0 * np.trapezoid(1 / power, kelvin), rel=1e-6)
    # Leads joined at the fastest speed drawn: nearly the flux over the inductance.
    flux = 0.95 * (1 + 0.0012 * 15) / (1.5 * 23)
    rate = 23 * ends.speed[-1] / radius
    ohms = motor_formulas.resistance_at(machine.phase_resistance, 40.0, 25.0)
    expected = rate**2 * 0.00028 * flux / (ohms**2 + rate**2 * 0.00021 * 0.00028)
    assert ends.short_circuit_current == pytest.approx(expected, rel=1e-9)
    assert ends.frequency == pytest.approx(rate / (2 * np.pi), rel=1e-12)
    assert ends.greatest_weakening == pytest.approx(30.0, rel=1e-9)
    assert "they can be lost for good" in ends.magnet_hazard and ends.demagnetising_current == 110.0
    # Unplugged: the power that braking feeds lifts the capacitor from the full packs' voltage to the rating.
    later = replace(case, {"state_of_charge": 0.6})
    ends, state = reach.study(build, later), drive(build, 0.6, 313.15, 283.15)
    ahead = ends.speed >= 0
    at = state.point(ends.lowest[ahead], ends.speed[ahead] / radius)
    fed = np.max(-at.battery_current * at.bus_voltage)
    assert fed == pytest.approx(3 * 3.3 * (state.open_circuit_voltage + state.pack_resistance * 3 * 3.3), rel=1e-9)
    assert ends.unplugged_time == pytest.approx(0.5e-3 * (63.0**2 - (13 * 4.18) ** 2) / fed, rel=1e-9)
    assert f"{1000 * ends.unplugged_time:.1f} ms" in ends.unplugged_hazard


def test_what_a_build_does_not_say_is_said():
    ends = reach.study(examples.silent(), examples.case())
    assert ends.unplugged_time is None and "does not say the capacitance" in ends.unplugged_hazard
    assert ends.demagnetising_current is None and "does not say what they bear" in ends.magnet_hazard
    assert ends.greatest_weakening == 0
    born = reach.study(replace(examples.build(), {"motor.demagnetising_current": 500.0}), examples.case())
    assert born.magnet_hazard.endswith("they bear 500 A hot")
    idle = reach.study(replace(examples.build(), {"controller.charge_current_limit": 0.0}), examples.case())
    assert idle.unplugged_hazard == "nothing is fed back here"
    with pytest.raises(ValueError, match=r"build 'Harbour ungeared' has no motor: the reach study needs one"):
        reach.study(examples.build("harbour_ungeared"), examples.case())


def test_a_winding_beyond_its_derating_has_nothing_left_and_no_time():
    for kelvin in (400.0, 420.0):
        ends = reach.study(examples.build(), examples.case(winding_start=kelvin))
        assert ends.standstill_time == 0 and ends.highest_by[-1] in ("derating", "voltage")
    assert ends.highest.max() == 0 == ends.fastest and ends.standstill_loss == 0


@pytest.mark.parametrize("slope", [0.06, -0.12])
def test_the_point_of_the_case_and_what_is_left_from_it(slope):
    case = examples.case(slope=slope, speed=4.0, gust=3.0, state_of_charge=0.98)
    build = replace(examples.build(), {"assist.resisting_gain.long": 0.8})
    here, whole = reach.here(build, case), motor.study(build, case)
    assert here.torque == pytest.approx(whole.motor_peak, rel=1e-12) and (here.torque > 0) == (slope > 0)
    assert (here.end, here.ended_by) == (pytest.approx(whole.available, rel=1e-12), whole.available_by)
    assert here.left == pytest.approx(abs(here.end - here.torque)) and here.gust_torque == whole.gust_torque > 0
    assert here.phase_current == pytest.approx(abs(here.torque) / drive(build, 0.98).torque_constant_peak, rel=1e-9)
    assert here.phase_current_rms == pytest.approx(here.phase_current / np.sqrt(2)) and here.direct_current == 0
    state, rotation = drive(build, 0.98), 4.0 / build.wheel.radius
    ohms = state.phase_resistance + 0.006
    quadrature = here.torque / state.torque_constant_peak
    across = ohms * quadrature + state.torque_constant_peak / 1.5 * rotation
    taken = np.hypot(across, 23 * rotation * 0.00028 * quadrature) / (here.bus_voltage / np.sqrt(3))
    assert here.voltage_share == pytest.approx(taken, rel=1e-9)
    assert here.bus_voltage == pytest.approx(state.open_circuit_voltage - state.pack_resistance * here.battery_current, rel=1e-12)


def test_temperatures_follow_the_case_unless_given():
    case = examples.case(air_temperature=280.0)
    assert reach.temperatures(case) == (280.0, 280.0)
    assert reach.temperatures(replace(case, {"winding_start": 350.0})) == (350.0, 280.0)
    assert reach.temperatures(case, 300.0, 310.0) == (300.0, 310.0)
