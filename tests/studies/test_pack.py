"""Packs under load: energy that closes, sag by a solver, sharing, what is asked, margins and what a build leaves out."""

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from unikit.formulas import pack as formulas
from unikit.inputs import draw, replace
from unikit.studies import cells, drive, joining, motor, pack, ride, split, wiring
from unikit.studies.loads import loads, trim_torque

from . import examples

OLD = {
    "packs.pack.rear.cell_resistance": 0.060,
    "packs.pack.rear.fast_resistance": 0.020,
    "packs.pack.rear.slow_resistance": 0.026,
    "packs.pack.rear.cell_capacity": 1.6 * 3600,
}
HIGH = {"controller.voltage_rating": 200.0, "packs.joined": "series"}
SOME = {name: None for name in cells.SLOW + cells.OTHERS}


def full(**changes):
    return examples.case(**({"state_of_charge": 1.0, "slope": 0.03, "trim": "level", "gust": 3.0} | changes))


def bare(**changes):
    """The commuter without what its packs say of slow parts, charge and temperature."""
    left_out = {f"packs.pack.{name}.{field}": None for name in ("left", "right", "rear") for field in (*SOME, "cell_current_limit")}
    return replace(examples.build(), left_out | changes)


# -- a ride until the packs end it ----------------------------------------------------------


@pytest.mark.parametrize("changes", [{}, OLD, OLD | HIGH, {"packs.held_back": 0.0}], ids=["alike", "unlike", "series", "to the end"])
@pytest.mark.parametrize("power", [40.0, 250.0, 700.0])
def test_energy_closes(changes, power):
    build = replace(examples.build(), changes)
    one = pack.discharge(build, full(state_of_charge=0.9, air_temperature=275.15), power=power)
    assert one.not_charged + one.delivered + one.heat + one.left_behind == pytest.approx(one.full_energy, rel=2e-4)
    assert one.delivered == pytest.approx(power * one.duration, rel=1e-12) and one.heat > 0
    hours = 5.7 if "packs.pack.rear.cell_capacity" in changes else 6.15
    assert one.usable_share == pytest.approx(one.delivered / (13 * 3.6 * hours * 3600))


@pytest.mark.parametrize("power", [60.0, 400.0])
def test_without_slow_parts_it_is_the_energy_of_the_closed_formula(power):
    build = bare()
    one = build.packs.pack[0]
    got = pack.discharge(build, full(), power=power)
    inner = cells.resistance(one, 0.5, 280.0, np.inf)
    expected = formulas.delivered_energy(
        power / 3, one.capacity, inner, one.curve_charge, tuple(13 * v for v in one.curve_voltage), 1.0, 0.15
    )
    assert got.ended_by == "charge held back" and got.end_charge == pytest.approx(0.15, abs=1e-9)
    assert got.delivered == pytest.approx(3 * expected, rel=5e-5)


def test_the_end_of_a_ride_by_a_solver():
    build, case = examples.build(), full(air_temperature=265.15)
    one, kelvin, power = build.packs.pack[0], 265.15, 600.0
    factor = lambda s: np.interp(s, one.curve_charge, one.curve_resistance) * np.exp(21e3 / 8.314462618 * (1 / kelvin - 1 / 298.15))

    def current(state):
        rest = 13 * np.interp(state[0], one.curve_charge, one.curve_voltage) - 13 * factor(state[0]) * (0.009 * state[1] + 0.012 * state[2])
        amps = formulas.current_at_power(rest, 13 * 0.028 * factor(state[0]) + 0.025, power / 3)
        return amps, rest - amps * (13 * 0.028 * factor(state[0]) + 0.025)

    def rate(_, state):
        amps = current(state)[0]
        return [-amps / 7380, (amps - state[1]) / 6, (amps - state[2]) / 240]

    def lowest(_, state):
        return current(state)[1] - 39.0

    lowest.terminal = True
    run = solve_ivp(rate, (0, 5000), [1.0, 0.0, 0.0], events=lowest, rtol=1e-9, atol=1e-11, max_step=2.0)
    got = pack.discharge(build, case, power=power)
    assert got.ended_by == "lowest cell voltage"
    assert got.duration == pytest.approx(run.t_events[0][0], rel=1e-3)
    assert got.end_charge == pytest.approx(run.y_events[0][0][0], abs=1e-3)
    assert got.voltage_over[-1] == pytest.approx(39.0, abs=0.02)


def test_a_weak_pack_carries_less_at_first_and_catches_up():
    got = pack.discharge(replace(examples.build(), OLD | {"packs.held_back": 0.0}), full(), power=141.0)
    rear = got.pack_currents[:, 2] / got.pack_currents.sum(axis=1)
    assert got.pack_currents.sum(axis=1) * got.voltage_over == pytest.approx(np.full(len(got.time), 141.0), rel=1e-2)
    assert rear[0] < 0.2 < rear[len(rear) // 2] < 1 / 3 < rear[-1]  # what it has kept is called for at the knee
    assert got.pack_charges[-1, 2] > got.pack_charges[-1, 0] and got.largest_in == "rear"


def test_a_small_pack_hands_its_part_to_the_others_near_the_end():
    got = pack.discharge(replace(examples.build(), {"packs.pack.rear.cell_capacity": 1.4 * 3600}), full(), power=400.0)
    left, rear = got.pack_currents[:, 0], got.pack_currents[:, 2]
    assert left[0] == pytest.approx(rear[0], rel=1e-9)
    assert left[-1] > 1.7 * rear[-1] and got.largest_in == "left" and got.widest_share > 1.15
    assert got.largest_cell_current == pytest.approx(left.max())


def test_in_series_the_smallest_pack_ends_the_ride():
    build = replace(examples.build(), OLD | HIGH)
    got = pack.discharge(build, full(), power=141.0)
    assert got.ended_by == "charge held back" and got.pack_charges[-1].argmin() == 2
    assert got.pack_charges[-1, 2] == pytest.approx(0.15, abs=1e-6) and got.pack_charges[-1, 0] > 0.3
    assert "pack rear is empty first" in pack.study(build, full()).alike
    hard = pack.discharge(replace(build, {"packs.held_back": 0.0}), full(), power=141.0)
    assert hard.ended_by == "lowest cell voltage of pack rear"


def test_what_ends_a_ride_in_words():
    build = examples.build()
    assert pack.discharge(build, full(state_of_charge=0.1), power=100.0).ended_by == "charge held back"
    gone = pack.discharge(build, full(), power=20e3)
    assert gone.ended_by == "more power than the packs can give" and gone.duration == gone.delivered == 0
    assert gone.left_behind == pytest.approx(gone.full_energy)
    assert pack.discharge(build, full(slope=-0.06, trim="level")) is None
    early = replace(build, {"packs.pack.right.lowest_cell_voltage": 3.5})
    assert pack.discharge(early, full(), power=600.0).ended_by == "lowest cell voltage of pack right"


# -- sag at a charge --------------------------------------------------------------------------


def test_a_peak_on_top_of_a_long_load_by_a_solver():
    """The mean for an hour at a charge that stands still, then 10 s at the peak's current."""
    build, case = examples.build(), full(state_of_charge=0.5)
    load, packs = pack.study(build, case), build.packs
    one = packs.pack[0]
    grown = 1.0 * np.exp(21e3 / 8.314462618 * (1 / 293.15 - 1 / 298.15))
    peak = load.peak_current / 3
    run = solve_ivp(
        lambda t, felt: [(peak - felt[0]) / 6, (peak - felt[1]) / 240], (0, 10), [load.cruise_current / 3] * 2, rtol=1e-11, atol=1e-12
    )
    dragged = 13 * grown * (0.009 * run.y[0, -1] + 0.012 * run.y[1, -1])
    rest = 13 * np.interp(0.5, one.curve_charge, one.curve_voltage)
    assert load.peak_voltage == pytest.approx(rest - dragged - (13 * 0.028 * grown + 0.025) * peak, rel=1e-9)
    assert load.peak_voltage * load.peak_current == pytest.approx(load.peak_power, rel=1e-9)
    assert load.cruise_voltage * load.cruise_current == pytest.approx(load.cruise_power, rel=1e-9)
    assert load.resistance == pytest.approx((13 * 0.028 * grown + 0.025) / 3, rel=1e-12)
    assert load.resistance_steady == pytest.approx((13 * 0.049 * grown + 0.025) / 3, rel=1e-12)
    assert load.resistance < load.resistance_peak < load.resistance_steady
    over = [np.interp(0.5, load.charge, volts) for volts in (load.voltage_at_rest, load.voltage_mean, load.voltage_peak)]
    assert over == pytest.approx([load.rest_voltage, load.cruise_voltage, load.peak_voltage], rel=1e-12)


def test_where_the_peak_is_cut_off_the_greatest_power_is_the_peak():
    build, case = examples.build(), full(air_temperature=263.15, gust=6.0)
    load = pack.study(build, case)
    assert 0.1 < load.peak_cut_off < 0.6 and load.peak_cut_off == load.peak_cut_off_cold
    there = pack.study(build, replace(case, {"state_of_charge": load.peak_cut_off}))
    # what is asked is that of the fuller packs: their voltage changes it a little
    assert there.greatest_power == pytest.approx(load.peak_power, rel=0.03)
    assert np.all(np.diff(load.power_peak) >= 0)
    more = load.power_steady > load.cruise_power  # below the mean the slow parts recover, and time gives instead of taking
    assert more.sum() > 150
    assert np.all((load.power_at_once > load.power_peak)[more]) and np.all((load.power_peak > load.power_steady)[more])


def test_cold_packs_give_less_and_a_build_that_does_not_say_so_cannot_tell():
    cold, warm = (pack.study(examples.build(), full(pack_temperature=kelvin)) for kelvin in (263.15, 298.15))
    assert cold.greatest_power < 0.6 * warm.greatest_power and cold.resistance > 2 * warm.resistance
    assert cold.temperature == 263.15 and np.array_equal(cold.power_cold, cold.power_peak)
    silent = [pack.study(bare(), full(pack_temperature=kelvin)) for kelvin in (263.15, 298.15)]
    assert silent[0].greatest_power == silent[1].greatest_power
    assert silent[0].not_said.startswith("fast_resistance, fast_time, slow_resistance, slow_time, curve_resistance, activation_energy")
    assert cold.not_said == "nothing"


@pytest.mark.parametrize("joined", ["parallel", "series"])
def test_at_the_first_moment_the_packs_are_those_of_the_drive(joined):
    build = bare(**{"packs.joined": joined, "packs.pack.rear.cell_resistance": 0.06, "packs.pack.rear.cell_capacity": 5760.0})
    source, other = cells.joined(cells.Stack(build.packs, 280.0), 0.3), drive.supply(build.packs, 0.3)
    assert (source.voltage, source.resistance) == pytest.approx((other.open_circuit_voltage, other.resistance), rel=1e-13)
    assert source.limit == pytest.approx(other.discharge_limit, rel=1e-13)
    if joined == "series":  # the weak pack is the first at its lowest
        assert source.limit == pytest.approx(13 * (3.61 - 3.0) / (13 * 0.06 + 0.025), rel=1e-13)
    each = source.currents(150.0)
    assert each.sum() * (1 if joined == "parallel" else 1 / 3) == pytest.approx(source.current(150.0), rel=1e-13)


def test_a_load_that_lasts_has_all_resistances():
    packs = examples.build().packs
    short, lasting = drive.supply(packs, 0.5), drive.supply(packs, 0.5, lasting=298.15)
    assert short.resistance == pytest.approx((13 * 0.028 + 0.025) / 3)
    assert lasting.resistance == pytest.approx((13 * 0.049 + 0.025) / 3)
    assert drive.supply(bare().packs, 0.5, lasting=250.0).resistance == short.resistance
    warm, cold = (ride.study(examples.build(), full(pack_temperature=kelvin)) for kelvin in (298.15, 258.15))
    assert cold.pack_loss > 3 * warm.pack_loss and cold.range < warm.range
    assert ride.study(bare(), full(pack_temperature=258.15)).range > warm.range


# -- what is asked, and margins ---------------------------------------------------------------


def test_what_is_asked_is_what_the_drive_takes():
    build, case = examples.build(), full()
    gear, load = build.gears.named("long"), pack.asked(examples.build(), case, build.gears.named("long"))
    state = drive.drive(build, 1.0)
    got = split.torque_split(build, gear, case.speed, loads(build, case).wheel_torque, state, trim_torque(build, case))
    rotation = case.speed / build.wheel.radius
    mechanical = (got.motor_torque - got.motor_drag) * rotation
    losses = got.copper_loss + got.bridge_loss + got.iron_loss + got.standby
    assert load.cruise == pytest.approx(mechanical + losses, rel=1e-9)
    torque = min(got.motor_peak + motor.gust_torque(build, case, case.speed), float(state.limits(rotation).highest))
    at = state.point(torque, rotation)
    assert load.peak == pytest.approx(torque * rotation + at.copper_loss + at.bridge_loss + got.standby, rel=1e-9)


def test_margins_of_packs_that_are_described():
    build, case = examples.build(), full(air_temperature=273.15)
    margins = {key: (margin, words) for key, margin, words in pack.margins(build, case, build.gears.named("long"))}
    load = pack.study(build, case)
    assert set(margins) == {rule.key for rule in pack.RULES}
    assert margins["sag"][0] == pytest.approx(load.greatest_held_back / load.peak_power, rel=1e-12)
    assert margins["cell current"][0] == pytest.approx(11.0 / load.cell_current, rel=1e-12)
    # packs alike share alike: by hand, with the voltage at the charge held back
    source = cells.joined(cells.Stack(build.packs, 273.15), 0.15, pack.PEAK, load.cruise_power)
    volts = source.voltage - source.resistance * source.current(load.peak_power)
    assert load.cell_current == pytest.approx(load.peak_power / volts / 3, rel=1e-9)
    warmer = dict((key, margin) for key, margin, _ in pack.margins(build, replace(case, {"pack_temperature": 298.15}), build.gears.named()))
    assert warmer["sag"] > 1.5 * margins["sag"][0]


def test_the_cell_nearest_to_its_limit_counts():
    weak = replace(examples.build(), {"packs.pack.right.cell_current_limit": 4.0})
    found = dict((key, words) for key, _, words in pack.margins(weak, full(), weak.gears.named("long")))
    assert found["cell current"].endswith("A in pack right")
    low = replace(examples.build(), {"packs.pack.left.cell_resistance": 0.010})
    uneven = dict((key, margin) for key, margin, _ in pack.margins(low, full(), low.gears.named("long")))
    even = dict((key, margin) for key, margin, _ in pack.margins(examples.build(), full(), low.gears.named("long")))
    assert uneven["cell current"] < 0.8 * even["cell current"]


def test_margins_are_unknown_where_the_build_does_not_say_enough():
    for build in (bare(), examples.build("classroom_demonstrator")):
        found = pack.margins(build, full(state_of_charge=0.8), build.gears.named(build.gears.engaged))
        assert [key for key, _, _ in found] == ["sag", "cell current"] and all(np.isnan(margin) for _, margin, _ in found)
        assert found[0][2] == "fast_resistance, fast_time, slow_resistance, slow_time of the packs not given"
        assert found[1][2] == "cell_current_limit of the packs not given"
    ungeared = examples.build("harbour_ungeared")
    assert pack.margins(ungeared, full(), ungeared.gears.gear[0]) == []
    with pytest.raises(ValueError, match="has no motor: the pack study needs one"):
        pack.study(ungeared, full())


def test_strings_of_smaller_cells_make_the_same_pack():
    """Two strings of cells with half the capacity and twice the resistance: the same pack, half the current in a cell."""
    names = ("cell_resistance", "fast_resistance", "slow_resistance")
    halves = {"parallel": 2, "cell_capacity": 2.05 * 1800} | {name: 2 * getattr(examples.build().packs.pack[0], name) for name in names}
    split_up = replace(
        examples.build(), {f"packs.pack.{one}.{name}": value for one in ("left", "right", "rear") for name, value in halves.items()}
    )
    one, two = (pack.study(build, full()) for build in (examples.build(), split_up))
    assert (two.resistance_peak, two.greatest_held_back) == pytest.approx((one.resistance_peak, one.greatest_held_back), rel=1e-12)
    assert two.cell_current == pytest.approx(one.cell_current / 2, rel=1e-12)
    rides = [pack.discharge(build, full(), power=300.0) for build in (examples.build(), split_up)]
    assert rides[1].delivered == pytest.approx(rides[0].delivered, rel=1e-9) and rides[1].heat == pytest.approx(rides[0].heat, rel=1e-9)
    assert rides[1].largest_cell_current == pytest.approx(rides[0].largest_cell_current / 2, rel=1e-9)


def test_draws_and_powers_that_are_none_are_refused_in_words():
    drawn = draw(examples.build(), 5, 1)
    gear, case = drawn.gears.named("long"), full()
    resistances = replace(examples.build(), {"packs.pack.left.slow_resistance": np.array([0.01, 0.02])})
    for ask in (
        lambda: pack.study(drawn, case),
        lambda: pack.discharge(drawn, case),
        lambda: pack.margins(drawn, case, gear),
        lambda: pack.margins(resistances, case, gear),
        lambda: wiring.study(drawn, case),
        lambda: wiring.margins(drawn, case, gear),
        lambda: joining.study(drawn),
        lambda: joining.margins(drawn),
    ):
        with pytest.raises(ValueError, match="is a list of draws: studies of packs, joining and wiring look at one build at a time"):
            ask()
    with pytest.raises(ValueError, match="power must be a number of watts, got nan"):
        pack.discharge(examples.build(), case, power=np.nan)


def test_the_curve_beside_a_published_cell():
    load = pack.study(examples.build(), full(state_of_charge=0.5))
    assert load.published_voltage == pytest.approx(3.7509, abs=1e-4) and load.cell_voltage == pytest.approx(3.72)
    other = {f"packs.pack.{name}.chemistry": "titanate" for name in ("left", "right", "rear")}
    assert np.isnan(pack.study(replace(examples.build(), other), full()).published_voltage)
