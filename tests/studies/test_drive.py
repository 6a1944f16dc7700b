"""The drive of a build in one state."""

import numpy as np
import pytest
from scipy.optimize import brentq

from unikit.inputs import replace
from unikit.studies.drive import FLUX_LEFT, derating, drive, supply

from . import examples


def test_a_build_without_motor_has_no_drive():
    assert drive(examples.build("harbour_ungeared")) is None


def test_parallel_packs_by_kirchhoff():
    """Three unlike packs on one pair of terminals: the currents that a load draws, against two numbers for all."""
    build = replace(examples.build(), {"packs.pack.left.cell_resistance": 0.05, "packs.pack.rear.wiring_resistance": 0.2})
    source = supply(build.packs, 0.5)
    cell = 3.72
    inner = [13 * one.cell_resistance + one.wiring_resistance for one in build.packs.pack]
    current = 17.0
    terminal = brentq(lambda v: sum((13 * cell - v) / r for r in inner) - current, 0, 60, xtol=1e-13)
    assert source.open_circuit_voltage - source.resistance * current == pytest.approx(terminal, rel=1e-12)
    # the pack of least resistance takes the most: charging ends where it is at its own 3.3 A, before the three together are at 9.9 A
    charged = brentq(lambda i: max(i / r for r in inner) * source.resistance - 3.3, 0, 20, xtol=1e-13)
    assert source.charge_limit == pytest.approx(charged, rel=1e-12) and charged < 0.8 * 3 * 3.3
    alike = supply(examples.build().packs, 0.5)
    assert alike.charge_limit == pytest.approx(3 * 3.3, rel=1e-12) and alike.charge_by == "charge current of the packs"


def test_unlike_voltages_in_parallel():
    lower = tuple(0.95 * volts for volts in examples.build().packs.pack[2].curve_voltage)
    build = replace(examples.build(), {"packs.pack.rear.curve_voltage": lower, "packs.pack.rear.cell_resistance": 0.02})
    source = supply(build.packs, 1.0)
    inner, full = [13 * 0.028 + 0.025] * 2 + [13 * 0.02 + 0.025], (4.18, 4.18, lower[-1])
    rest = brentq(lambda v: sum((13 * e - v) / r for e, r in zip(full, inner, strict=True)), 40, 60, xtol=1e-13)
    assert source.open_circuit_voltage == pytest.approx(rest, rel=1e-12)
    assert source.charge_limit == 0  # the terminals are above what the cells of lower voltage may have


def test_series_packs_add():
    build = replace(examples.build(), {"packs.joined": "series", "packs.pack.rear.series": 7})
    source = supply(build.packs, 1.0)
    assert source.open_circuit_voltage == pytest.approx((13 + 13 + 7) * 4.18)
    assert source.resistance == pytest.approx(33 * 0.028 + 3 * 0.025)
    assert source.charge_limit == 0  # full packs take nothing back


@pytest.mark.parametrize("charge", [0.04, 0.5, 0.95])
def test_unlike_packs_in_series_end_with_the_first_of_them(charge):
    """At the greatest currents both ways one pack is just at its end, and none beyond it."""
    changes = {"packs.joined": "series", "packs.pack.left.cell_resistance": 0.06, "packs.pack.rear.lowest_cell_voltage": 3.2}
    build = replace(examples.build(), changes | {"packs.pack.right.charge_current_limit": 200.0, "packs.pack.right.series": 9})
    build = replace(build, {f"packs.pack.{name}.charge_current_limit": 200.0 for name in ("left", "rear")})
    source, packs = supply(build.packs, charge), build.packs.pack
    rest = np.array([one.series * np.interp(charge, one.curve_charge, one.curve_voltage) for one in packs])
    inner = np.array([one.series * one.cell_resistance + one.wiring_resistance for one in packs])
    above = rest - inner * source.discharge_limit - [one.series * one.lowest_cell_voltage for one in packs]
    below = [one.series * one.curve_voltage[-1] for one in packs] - (rest + inner * source.charge_limit)
    assert above.min() == pytest.approx(0, abs=1e-12) and below.min() == pytest.approx(0, abs=1e-12)
    assert above.max() > 0.1 and below.max() > 0.1 and source.charge_by == "full pack"
    slow = supply(replace(build, {"packs.pack.right.charge_current_limit": "0.5 A"}).packs, 0.5)
    assert (slow.charge_limit, slow.charge_by) == (0.5, "charge current of the packs")


def test_packs_too_weak_for_the_electronics_are_named():
    weak = {f"packs.pack.{name}.cell_resistance": 1.0 for name in ("left", "right", "rear")} | {"controller.standby_power": 100.0}
    build = replace(examples.build(), weak)
    most = (13 * 3.0) ** 2 / 4 / ((13 * 1.0 + 0.025) / 3)
    with pytest.raises(ValueError, match=rf"packs of build 'Harbour commuter' lack {100 - most:.3g} W of the controller's standby power"):
        drive(build, 0.0)
    assert drive(build, 1.0).limits(5.0).highest > 0


def test_the_battery_current_keeps_every_cell_above_its_lowest_voltage():
    build = replace(examples.build(), {"controller.battery_current_limit": 300.0})
    state = drive(build, 0.1)
    assert state.open_circuit_voltage - state.battery_current_limit * state.pack_resistance == pytest.approx(13 * 3.0)
    empty = drive(replace(build, {"packs.pack.left.lowest_cell_voltage": 3.4}), 0.04)
    assert empty.battery_current_limit == 0 and empty.limits(5.0).highest == 0


def test_full_packs_refuse_what_the_motor_would_feed_back():
    full, half = (drive(examples.build(), charge).limits(15.0) for charge in (1.0, 0.5))
    assert full.lowest_by == "full pack" and abs(full.lowest) < abs(half.lowest)


def test_what_would_lift_the_bus_above_the_rating_is_not_fed_back():
    free = drive(examples.build(), 0.5)
    source, inner = free.open_circuit_voltage, free.pack_resistance
    tight = drive(replace(examples.build(), {"controller.voltage_rating": source + 0.2}), 0.5)
    assert tight.charge_current_limit == pytest.approx(0.2 / inner) and tight.charge_current_limit < free.charge_current_limit
    limits = tight.limits(25.0)
    point = tight.point(limits.lowest, 25.0)
    assert limits.lowest_by == "bus voltage" and point.bus_voltage == pytest.approx(source + 0.2, rel=1e-9)


def test_cap_and_derating_come_last():
    build = replace(examples.build(), {"assist.torque_cap": 7.0})
    cold, warm, hot = (drive(build, winding_temperature=kelvin).limits(5.0) for kelvin in (300.0, 400.65, 420.0))
    assert (cold.highest, cold.highest_by) == (7.0, "torque cap")
    assert (warm.highest, warm.highest_by) == (pytest.approx(3.5), "derating")  # half way from 115 to 140 °C
    assert (hot.highest, hot.highest_by) == (0.0, "derating")
    assert (warm.lowest, warm.lowest_by) == (pytest.approx(-3.5), "derating")


def test_derating_is_a_straight_line_between_its_ends():
    share = derating(examples.build(), np.array([0.0, 388.15, 394.4, 400.65, 413.15, 600.0]))
    assert share == pytest.approx([1, 1, 0.75, 0.5, 0, 0])


def test_the_back_emf_reaches_the_packs_where_the_torque_is_gone():
    build = examples.strong(motor__hysteresis_torque=0.0, controller__standby_power=0.0)
    state = drive(build, 0.8)
    rotation = state.back_emf_rotation()
    assert rotation == pytest.approx(13 * 3.98 / np.sqrt(3) / (0.95 * (1 - 0.0012 * -5) / 1.5), rel=1e-12)
    assert state.limits(rotation * (1 + 1e-9)).highest == 0
    assert state.limits(rotation * 0.999).highest > 0


def test_magnets_are_never_turned_round_by_heat():
    build = replace(examples.build(), {"motor.magnet_temperature_coefficient": -0.01})
    state = drive(build, magnet_temperature=np.array([290.0, 390.0, 600.0]))
    assert (state.torque_constant_peak > 0).all()
    assert state.torque_constant_peak[-1] == pytest.approx(FLUX_LEFT * 0.95)
