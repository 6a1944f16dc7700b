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
    assert source.charge_limit == pytest.approx(3 * 3.3)


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
