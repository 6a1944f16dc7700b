"""A motor from bench data: exact where nothing scatters, honest where it does, and plain about what it cannot tell."""

from functools import cache
from pathlib import Path

import numpy as np
import pytest

from unikit.formulas import fitting, magnetics, motor
from unikit.inputs import InputError, load_bench, load_build, save_build
from unikit.inputs.bench import Bench, Measured, make_run
from unikit.inputs.instruments import Accuracy
from unikit.studies import bench_files, bench_runs, benched, motor_bench
from unikit.studies.bench_runs import MOTOR

DATA = Path(__file__).parents[2] / "data"
SETS = 200
LEAST, MOST = 180, 199  # of 200 intervals that hold the truth with 95 %: outside has a chance of 0.002
FIELDS = [name if name != "roll_off" else "saturation_current" for name in MOTOR]


@cache
def believed():
    return load_build(DATA / "builds" / "harbour_commuter.toml")


@cache
def truth():
    return benched.hidden(believed())


@cache
def record():
    return load_bench(DATA / "bench" / "harbour_hub.toml")


@cache
def many():
    bench = benched.benched(truth(), 77, SETS)
    return bench, motor_bench.estimate(believed(), bench)


def true(name):
    return truth().motor.saturation_current ** -2 if name == "roll_off" else getattr(truth().motor, name)


def made(kind, **values):
    """A run without scatter, by numbers in SI; single numbers are constants."""
    small = Accuracy(1e-5, 1e-6)
    return {
        name: Measured(np.asarray(one, float), Accuracy() if np.ndim(one) == 0 else small, Accuracy(), f"{kind}.{name}", np.ndim(one) == 0)
        for name, one in values.items()
    }


def exact_runs():
    """Each kind of run by formulas of the kit for the true motor; quantities that measure the same stand side by side."""
    machine = truth().motor
    reference = machine.reference_temperature
    winding, magnets = np.linspace(290.0, 350.0, 8), np.linspace(295.0, 340.0, 8)
    rotation, current = np.linspace(4.0, 30.0, 8), np.linspace(5.0, 70.0, 8)
    resistance = motor.resistance_at(machine.phase_resistance, winding - 273.15, reference - 273.15)
    constant = motor.magnet_at(machine.torque_constant_peak, magnets, reference, machine.magnet_temperature_coefficient)
    drag = motor.iron_drag(rotation, machine.hysteresis_torque, machine.eddy_drag)
    phase = magnetics.current_when_saturated(drag, constant, machine.saturation_current)
    drawn = 5.0 + motor.copper_loss(phase, resistance + 0.004) + motor.iron_loss(rotation, machine.hysteresis_torque, machine.eddy_drag)
    voltage = np.linspace(50.0, 49.0, 8)
    return {
        "resistance": {
            "line_resistance": 2 * resistance,
            "direct_current": np.full(8, 5.0),
            "direct_voltage": 10 * resistance,
            "winding_temperature": winding,
        },
        "spun": {
            "rotation": rotation,
            "line_voltage_rms": constant * rotation / np.sqrt(1.5),
            "drive_torque": drag,
            "drive_power": drag * rotation,
            "magnet_temperature": magnets,
        },
        "no load": {
            "rotation": rotation,
            "direct_voltage": voltage,
            "direct_current": drawn / voltage,
            "standby_power": 5.0,
            "bridge_resistance": 0.004,
            "winding_temperature": winding,
            "phase_current_rms": phase / np.sqrt(2),
            "phase_current_peak": phase,
            "magnet_temperature": magnets,
        },
        "stall": {
            "phase_current_peak": current,
            "force": (magnetics.saturated_torque(current, constant, machine.saturation_current) + 0.2) / 0.4,
            "lever_arm": 0.4,
            "magnet_temperature": magnets,
        },
    }


def exact(**chosen):
    """A record of exact runs with the chosen quantities of each."""
    runs = exact_runs()
    bench = [make_run(kind.replace(" ", "_"), kind, made(kind, **{n: runs[kind][n] for n in names})) for kind, names in chosen.items()]
    return Bench("exact", "computed", tuple(bench))


HOT = ("winding_temperature",)
STALL = ("phase_current_peak", "force", "lever_arm", "magnet_temperature")


@pytest.mark.parametrize(
    "chosen",
    [
        {"resistance": ("line_resistance", *HOT), "spun": ("rotation", "line_voltage_rms", "drive_torque", "magnet_temperature")},
        {
            "resistance": ("direct_voltage", "direct_current", *HOT),
            "spun": ("rotation", "line_voltage_rms", "drive_power", "magnet_temperature"),
        },
        {
            "spun": ("rotation", "line_voltage_rms", "magnet_temperature"),
            "no load": ("rotation", "phase_current_rms", "magnet_temperature"),
            "resistance": ("line_resistance", *HOT),
        },
        {
            "resistance": ("line_resistance", *HOT),
            "no load": (
                "rotation",
                "direct_voltage",
                "direct_current",
                "standby_power",
                "bridge_resistance",
                *HOT,
                "phase_current_peak",
                "magnet_temperature",
            ),
        },
    ],
    ids=["ohms and torque", "volts and power", "phase current", "own power alone"],
)
def test_without_scatter_the_true_motor_comes_out(chosen):
    found = motor_bench.study(believed(), exact(**chosen, stall=STALL))
    assert found.estimate.measured == MOTOR
    for name in FIELDS:
        assert getattr(found, name) == pytest.approx(getattr(truth().motor, name), rel=2e-5), name
    assert found.notes == () and found.probability > 0.999


def test_two_speeds_give_what_the_plain_formulas_give():
    """Torque constant and the parts of the drag against the single-point formulas, from the same two loads."""
    runs = exact_runs()["spun"]
    cold = {"rotation": runs["rotation"], "line_voltage_rms": 0.74 * runs["rotation"], "drive_torque": runs["drive_torque"]}
    found = motor_bench.study(believed(), Bench("two", "computed", (make_run("turned", "spun", made("spun", **cold)),)))
    assert found.torque_constant_peak == pytest.approx(motor.torque_constant_by_spinning(0.74, 1.0), rel=1e-6)
    (slow, fast), (first, last) = runs["rotation"][[0, -1]], runs["drive_torque"][[0, -1]]
    parts = magnetics.iron_loss_separation(first * slow, slow, last * fast, fast)
    assert (found.hysteresis_torque, found.eddy_drag) == pytest.approx(parts, rel=1e-5)


def test_the_fit_of_a_spun_run_is_that_of_another_route():
    """Drag over speed with errors in both, by the straight line that has its own published check."""
    run = record()["spun_cold"]
    alone = {name: Measured(run.values(name), run[name].each, Accuracy(), name) for name in ("rotation", "drive_torque")}
    found = motor_bench.estimate(believed(), Bench("alone", "computed", (make_run("spun_cold", "spun", alone),)))
    # scatter of a share is taken at the value on the line: close to that at the measured one
    line = fitting.line_both(
        run.values("rotation"),
        run.values("drive_torque"),
        run["rotation"].each.deviation(run.values("rotation")),
        run["drive_torque"].each.deviation(run.values("drive_torque")),
    )
    for place, name in enumerate(("hysteresis_torque", "eddy_drag")):
        value, low, high = found.interval(name)
        assert value == pytest.approx(line.value[place], abs=0.05 * line.error[place])
        assert (high - low) / 2 / 1.96 == pytest.approx(line.error[place], rel=0.02)


def test_intervals_hold_the_truth_as_often_as_they_say():
    bench, found = many()
    assert found.measured == MOTOR
    for name in MOTOR:
        value, low, high = found.interval(name)
        error = (high - low) / 2 / 1.96
        assert LEAST <= np.sum((low <= true(name)) & (true(name) <= high)) <= MOST, name
        assert abs(value.mean() - true(name)) < (0.2 + 3 / np.sqrt(SETS)) * error.mean(), name
        assert value.std() == pytest.approx(error.mean(), rel=0.2), name
    value, low, high = found.saturation()
    assert LEAST <= np.sum((low <= 74.0) & (high >= 74.0)) <= MOST and np.all((low < value) & (value < high))
    assert found.fit.chi_square.mean() == pytest.approx(found.fit.freedom, rel=0.05)
    assert np.mean(found.probability < 0.05) == pytest.approx(0.05, abs=0.05)


def test_errors_that_instruments_share_are_not_averaged_away():
    """Taken for scatter of single readings, common errors would make intervals that hold the truth seldom: the trap."""
    bench, _ = many()
    blind = [
        make_run(
            run.name, run.kind, {n: Measured(q.values, q.each, Accuracy(), q.instrument, q.constant) for n, q in run.quantities.items()}
        )
        for run in bench.runs
    ]
    found = motor_bench.estimate(believed(), Bench("blind", "computed", tuple(blind)))
    _, low, high = found.interval("torque_constant_peak")
    assert np.sum((low <= true("torque_constant_peak")) & (true("torque_constant_peak") <= high)) < SETS / 2


def test_predictions_hold_the_reading_as_often_as_they_say():
    bench, _ = many()
    found = motor_bench.estimate(believed(), bench, ("own_power_phase",))
    run = bench["own_power_phase"]
    off, variance = fitting.foreseen(found.equations.condition(run), found.fit)
    inside = np.abs(off) < 1.96 * np.sqrt(variance)
    assert 0.92 < inside.mean() < 0.975
    assert found.fit.freedom == many()[1].fit.freedom - 10


def test_a_file_gives_what_its_arrays_give(tmp_path):
    """One record by way of its files against the same as arrays."""
    bench = benched.benched(truth(), 5)
    path = bench_files.write(benched.files(bench), tmp_path)[0]
    read = load_bench(path)
    for run, other in zip(bench.runs, read.runs, strict=True):
        assert (run.name, run.kind, list(run.quantities)) == (other.name, other.kind, list(other.quantities))
        for name, one in run.quantities.items():
            assert other.values(name) == pytest.approx(one.values, rel=1e-12), name
            assert (other[name].each, other[name].instrument, other[name].constant) == (one.each, one.instrument, one.constant)
            assert (other[name].common.share, other[name].common.fixed) == pytest.approx((one.common.share, one.common.fixed))
    one, two = (motor_bench.estimate(believed(), each).fit.value for each in (bench, read))
    assert one == pytest.approx(two, rel=1e-9)


def test_many_records_at_once_are_the_records_one_by_one():
    bench, found = many()
    runs = []
    for run in bench.runs:
        alone = {n: Measured(q.values[7], q.each, q.common, q.instrument, q.constant) for n, q in run.quantities.items()}
        runs.append(make_run(run.name, run.kind, alone))
    one = motor_bench.estimate(believed(), Bench("one", "computed", tuple(runs)))
    assert one.fit.value == pytest.approx(found.fit.value[7], rel=1e-5, abs=1e-7)


def test_the_example_record_holds_the_hidden_motor():
    found = motor_bench.study(believed(), record())
    for name in FIELDS:
        value, low, high = (getattr(found, f"{name}{end}") for end in ("", "_low", "_high"))
        assert low < value < high
        assert abs(value - getattr(truth().motor, name)) < 1.5 * (high - low) / 2, name
        if name != "saturation_current":
            assert not low <= getattr(believed().motor, name) <= high, f"{name}: nothing to find"
    assert found.notes == ()
    assert sum(len(one.standardised) for one in found.runs) == 13 + 24 + 12 + 10 + 10 + 15
    assert np.std(np.concatenate([one.standardised for one in found.runs])) == pytest.approx(1, abs=0.2)
    for one in found.runs:
        assert one.fitted == pytest.approx(one.measured, rel=0.05, abs=0.5)
    assert np.diag(found.correlation) == pytest.approx(np.ones(6))
    assert found.correlation[2, 3] < -0.3  # a steeper drag begins lower
    assert found.summary()["phase resistance"] == f"{1e3 * found.phase_resistance:.2f} mohm"


@pytest.mark.parametrize(
    ("left_out", "missing", "said"),
    [
        (("held",), "saturation_current", "hold it at stall with currents up to"),
        (("winding",), "phase_resistance", "measure the resistance between two leads"),
        (("spun_warm",), "magnet_temperature_coefficient", "spin it with the magnets cold and again"),
        (("spun_cold", "own_power", "own_power_phase"), "hysteresis_torque", "spin it with a torque meter"),
        (("spun_cold", "spun_warm", "held", "own_power_phase"), "torque_constant_peak", "spin the motor and read the open-circuit voltage"),
    ],
)
def test_what_the_runs_do_not_tell_is_said_and_not_guessed(left_out, missing, said):
    found = motor_bench.study(believed(), record().without(*left_out))
    assert [getattr(found, f"{missing}{end}") for end in ("", "_low", "_high")] == [None] * 3
    assert any(said in note for note in found.notes)
    assert getattr(motor_bench.with_motor(believed(), found).motor, missing) == getattr(believed().motor, missing)
    whole = motor_bench.study(believed(), record())
    for name in FIELDS:  # what is told still, is told with no smaller error
        if getattr(found, name) is not None and name != "saturation_current":
            wide, narrow = (getattr(one, f"{name}_high") - getattr(one, f"{name}_low") for one in (found, whole))
            assert wide > 0.99 * narrow, name


def test_phase_current_alone_tells_no_drag_but_power_and_phase_current_tell_the_torque_constant():
    """Drag over torque constant is all that a phase current shows; power shows the drag, and then both are known."""
    found = motor_bench.study(believed(), record().without("winding", "spun_cold", "spun_warm", "held", "own_power"))
    assert found.torque_constant_peak is None and found.hysteresis_torque is None
    both = motor_bench.study(believed(), record().without("spun_cold", "spun_warm", "held"))
    half = (both.torque_constant_peak_high - both.torque_constant_peak_low) / 2
    assert half < 0.03 and abs(both.torque_constant_peak - truth().motor.torque_constant_peak) < 1.6 * half


def test_no_roll_off_leaves_the_upper_end_open():
    straight = benched.benched(benched.replace(truth(), {"motor.saturation_current": 2000.0}), 3)
    found = motor_bench.study(believed(), straight)
    assert np.isinf(found.saturation_current_high) and found.saturation_current_low > 150
    assert any("No roll-off beyond doubt: the saturation current is above" in note for note in found.notes)


def changed(name, quantity, by):
    """The example record with one column of one run multiplied."""
    runs = []
    for run in record().runs:
        quantities = dict(run.quantities)
        if run.name == name:
            old = quantities[quantity]
            quantities[quantity] = Measured(by * old.values, old.each, old.common, old.instrument, old.constant)
        runs.append(make_run(run.name, run.kind, quantities))
    return Bench(record().name, record().source, tuple(runs))


def test_runs_that_contradict_each_other_are_named():
    rms = motor_bench.study(believed(), changed("held", "phase_current_peak", np.sqrt(0.5)))
    note = next(one for one in rms.notes if one.startswith("Runs disagree"))
    assert "torque constant by stall over that by spinning" in note and "peak taken for rms" in note
    assert rms.stall_over_spun == pytest.approx(np.sqrt(2) - 1, abs=0.04)
    drag = motor_bench.study(believed(), changed("spun_cold", "drive_torque", 0.8))
    assert any("Runs disagree: drag under own power over drag when spun" in note for note in drag.notes)
    assert drag.drag_over_spun == pytest.approx(0.25, abs=0.05)
    plain = motor_bench.study(believed(), record())
    assert abs(plain.stall_over_spun) < 3 * plain.stall_over_spun_error
    assert abs(plain.drag_over_spun) < 3 * plain.drag_over_spun_error


@pytest.mark.parametrize(("by", "share"), [(10.0, 9.0), (0.1, -0.9)])
def test_runs_that_fit_no_one_motor_are_refused_with_what_is_apart(by, share):
    """A lever arm in the wrong unit: either the fit ends with the note, or there is no fit and the same sentence says why."""
    try:
        notes = " ".join(motor_bench.study(believed(), changed("held", "force", by)).notes)
    except ValueError as error:
        notes = str(error)
        assert notes.startswith("bench record 'Harbour hub on the bench' fits no one motor. Runs disagree")
    number = float(notes.partition("less 1, is ")[2].partition(" %")[0]) / 100
    assert number == pytest.approx(share, rel=0.05)


def test_the_start_does_not_decide():
    """What the build believes moves nothing that the runs tell, also where it is far off or says that there is no drag."""
    plain = motor_bench.estimate(believed(), record()).fit.value[: len(MOTOR)]
    for wrong in (
        {"motor.torque_constant_peak": 3.0},
        {"motor.phase_resistance": 1.0, "motor.saturation_current": 20.0},
        {"motor.hysteresis_torque": 0.0, "motor.eddy_drag": 0.0},
        {"motor.magnet_temperature_coefficient": -0.004},
    ):
        other = motor_bench.estimate(benched.replace(believed(), wrong), record())
        assert other.measured == MOTOR
        assert other.fit.value[: len(MOTOR)] == pytest.approx(plain, rel=1e-6), wrong


@pytest.mark.parametrize("saturation", [15.0, 30.0, 150.0])
def test_strong_and_weak_saturation_are_found(saturation):
    bench = benched.benched(benched.replace(truth(), {"motor.saturation_current": saturation}), 3)
    found = motor_bench.study(believed(), bench)
    half = (found.saturation_current_high - found.saturation_current_low) / 2
    assert abs(found.saturation_current - saturation) < 2 * half < 0.2 * saturation


def test_a_voltage_of_zero_is_named():
    with pytest.raises(ValueError, match="run 'own_power' of bench record 'Harbour hub on the bench' divides by zero"):
        motor_bench.study(believed(), changed("own_power", "direct_voltage", 0.0))


def test_agreeing_runs_are_seldom_called_contradictory():
    bench, _ = many()
    wider = motor_bench.estimate(believed(), bench, (), bench_runs.contrasts_of(bench.runs))
    for name in (bench_runs.STALL_CONSTANT, bench_runs.NO_LOAD_DRAG):
        place = wider.equations.place[name]
        share = wider.fit.value[:, place] / wider.fit.error[:, place]
        assert share.std() == pytest.approx(1, abs=0.2) and np.mean(np.abs(share) > 3) <= 0.02


def test_a_misfit_widens_the_intervals_and_wild_readings_are_named():
    wild = np.ones(12)
    wild[5] = 1.4
    found = motor_bench.study(believed(), changed("spun_cold", "drive_torque", wild))
    assert found.probability < 1e-3
    assert any("Residuals are larger than the stated uncertainties allow" in note for note in found.notes)
    assert any("Run spun_cold, drive_torque: 1 of 12 readings" in note for note in found.notes)
    plain = motor_bench.study(believed(), record())
    assert found.eddy_drag_high - found.eddy_drag_low > 1.5 * (plain.eddy_drag_high - plain.eddy_drag_low)


def test_a_run_that_was_left_out_is_predicted():
    found = motor_bench.study(believed(), record(), ("own_power_phase",))
    (current,) = motor_bench.predict(found, "own_power_phase")
    assert (current.run, current.quantity, current.over) == ("own_power_phase", "phase_current_rms", "rotation")
    assert np.all((current.low < current.expected) & (current.expected < current.high)) and current.inside_share >= 0.8
    machine, state = truth().motor, record()["own_power_phase"]
    drag = motor.iron_drag(state.values("rotation"), machine.hysteresis_torque, machine.eddy_drag)
    assert current.expected == pytest.approx(drag / machine.torque_constant_peak / np.sqrt(2), rel=0.03)
    with pytest.raises(ValueError, match="run 'held' was fitted: leave it out of the fit to predict it"):
        motor_bench.predict(found, "held")
    with pytest.raises(ValueError, match="has no run 'other'"):
        motor_bench.study(believed(), record(), ("other",))


def test_a_held_out_stall_is_predicted_with_the_doubt_of_its_lever():
    found = motor_bench.study(believed(), record(), ("held",))
    (force,) = motor_bench.predict(found, "held")
    assert force.quantity == "force" and np.all(force.high - force.low > 1.0)


def test_the_build_gets_the_motor_with_its_errors_and_its_source(tmp_path):
    found = motor_bench.study(believed(), record().without("spun_warm"))
    build = motor_bench.with_motor(believed(), found)
    assert build.motor.torque_constant_peak == pytest.approx(found.torque_constant_peak)
    half = (found.phase_resistance_high - found.phase_resistance_low) / 2 / 1.96
    assert build.spreads["motor.phase_resistance"].parameters == pytest.approx((found.phase_resistance, half))
    assert build.motor.saturation_current == pytest.approx(found.saturation_current)
    assert "bench record 'Harbour hub on the bench'" in build.motor.source
    assert "not from the bench: magnet temperature coefficient" in build.motor.source
    save_build(build, tmp_path / "measured.toml")
    assert load_build(tmp_path / "measured.toml").motor.eddy_drag == pytest.approx(found.eddy_drag)
    with pytest.raises(InputError, match="a file that exists already"):
        save_build(build, tmp_path / "measured.toml")


def test_a_build_without_motor_and_a_record_without_runs_are_refused():
    ungeared = load_build(DATA / "builds" / "harbour_ungeared.toml")
    with pytest.raises(ValueError, match="has no motor: a bench record is read against"):
        motor_bench.study(ungeared, record())
    run = load_bench(DATA / "bench" / "heating.toml")["warmed_at_20A"]
    with pytest.raises(ValueError, match="has no run of resistance, spun, no load or stall to fit"):
        motor_bench.study(believed(), Bench("heat", "computed", (run,)))
    with pytest.raises(ValueError, match="run 'warmed_at_20A' is heating"):
        motor_bench.predict(motor_bench.study(believed(), Bench("both", "computed", (*record().runs, run))), run.name)
