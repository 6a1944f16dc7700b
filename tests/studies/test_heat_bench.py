"""The thermal network from bench runs: intervals that hold the truth, predictions, what is not told, and the way into a build."""

from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest

from unikit.formulas.network_fit import NETWORK
from unikit.inputs import InputError, load_bench, load_build, save_build
from unikit.inputs import replace as varied
from unikit.inputs.bench import Measured, make_run
from unikit.studies import heat_bench, heated

from .examples import ALL_PATHS

DATA = Path(__file__).parents[2] / "data"
QUICK = heated.Scenario(current=((300.0, 2.0), (2400.0, 20.0), (2700.0, 2.0)), sampling_interval=20.0)
RUNS = 150
LEAST, MOST_OFF = 132, 0.35  # of 150 with 95 % each: fewer has a chance below 0.001; mean of 150 in standard errors


@cache
def build(name="harbour_commuter"):
    return load_build(DATA / "builds" / f"{name}.toml")


@cache
def example(name="warmed_at_20A"):
    return load_bench(DATA / "bench" / "heating.toml")[name]


@cache
def whole():
    return heat_bench.study(build(), example())


@pytest.mark.checks("independent", "network_fit.identify")
def test_intervals_hold_the_hidden_motor():
    """Runs stepped by Runge-Kutta with other equations for the air: the fit knows nothing of motor or scenario."""
    hidden = heated.Hidden()
    made = heated.heated(build(), hidden, QUICK, 41, RUNS)
    found = [heat_bench.study(build(), made.run(number, stator=number % 2 == 0)) for number in range(RUNS)]
    for place, name in enumerate(NETWORK):
        truth = getattr(hidden, name)
        inside = sum(getattr(one, f"{name}_low") <= truth <= getattr(one, f"{name}_high") for one in found)
        apart = np.array([np.log(getattr(one, name) / truth) / one.fit.error[place] for one in found])
        assert LEAST <= inside < RUNS, name
        assert abs(apart.mean()) < MOST_OFF, name
        assert np.std(apart) == pytest.approx(1.0, abs=0.2), name


def test_the_example_holds_the_motor_that_is_hidden_in_it():
    hidden, found = heated.Hidden(), whole()
    for place, name in enumerate(NETWORK):
        assert abs(np.log(getattr(found, name) / getattr(hidden, name))) < 3 * found.fit.error[place], name
        assert getattr(found, f"{name}_low") < getattr(found, name) < getattr(found, f"{name}_high")
    assert found.line_resistance == pytest.approx(2 * hidden.phase_resistance, rel=0.01)
    assert found.misfit == pytest.approx(1.0, abs=0.1)
    assert found.hottest < found.winding_limit
    assert build().motor.winding_capacity != pytest.approx(found.winding_capacity, rel=0.05)


def test_the_cooling_is_predicted_from_the_heating():
    part = heat_bench.study(build(), example(), until=4150.0)
    assert part.used.sum() < len(part.time)
    for sensor in ("winding", "housing", "stator"):
        assert 0.9 < part.held(sensor) <= 1.0, sensor
    with pytest.raises(ValueError, match="run 'warmed_at_20A' has no reading of the winding outside the fit"):
        whole().held()


def test_another_current_is_predicted_from_a_few_cold_readings():
    other = heat_bench.study(build(), example("warmed_at_14A"), until=570.0, before=whole())
    for sensor in ("winding", "housing", "stator"):
        assert 0.9 < other.held(sensor) <= 1.0, sensor
    # the build's own numbers would miss it: the band is narrow enough to mean something
    hot = int(np.argmax(other.winding_predicted))
    assert other.winding_doubt[hot - 60] < 1.0
    assert other.winding_capacity == pytest.approx(whole().winding_capacity, rel=0.01)


def test_what_the_sensors_do_not_tell_is_said():
    bare = {name: one for name, one in example().quantities.items() if name != "stator_temperature"}
    less = heat_bench.study(build(), make_run("bare", "heating", bare))
    assert "stator capacity other than by the shape of the winding's curve" in less.not_told
    assert "stator capacity other than" not in whole().not_told and "error of the power from all six" in whole().not_told
    assert less.stator_capacity_high - less.stator_capacity_low > whole().stator_capacity_high - whole().stator_capacity_low
    assert "housing capacity and stator to housing (+0.9" in whole().tied


def test_a_run_that_is_too_short_leaves_much_open():
    cut = slice(0, 75)  # one minute and a half of heating: the housing has hardly noticed
    short = {name: one if one.constant else replace(one, values=one.values[cut].copy()) for name, one in example().quantities.items()}
    found = heat_bench.study(build(), make_run("short", "heating", short))
    assert "housing to air" in found.not_told and "wider than a factor of 2" in found.not_told
    assert found.housing_factor_high / found.housing_factor_low > 3
    assert found.winding_capacity_low < heated.Hidden().winding_capacity < found.winding_capacity_high


def test_the_factor_is_put_into_words():
    assert "19 % more heat leaves than computed" in whole().housing_means
    same = heated.heated(build(), heated.Hidden(housing_factor=1.0), QUICK, 3)
    assert heat_bench.study(build(), same.run()).housing_means == "the bench does not contradict the formula"


def test_moving_air_and_three_phases():
    """A fan, and all phases in a row: what is computed beforehand changes, not the motor."""
    plain, run = heat_bench.setup(build(), example()), dict(example().quantities)
    fan = heat_bench.setup(build(), make_run("fan", "heating", run | {"air_speed": Measured(np.asarray(3.0), constant=True)}))
    row = heat_bench.setup(
        varied(build(), {"motor.phase_resistance": 0.0567}),
        make_run("row", "heating", run | {"heated_phases": Measured(np.asarray(3.0), constant=True)}),
    )
    assert fan.to_air[90] > 1.5 * plain.to_air[90] and fan.per_air < plain.per_air
    assert (plain.heated_share, row.heated_share) == (pytest.approx(2 / 3), 1.0)


def test_computed_paths_stand_beside_the_chain():
    rich = varied(build(), ALL_PATHS)
    bench = heat_bench.setup(rich, example())
    assert set(bench.paths) == {("stator", "magnets"), ("magnets", "housing"), ("winding", "housing"), ("stator", "air")}
    assert bench.magnet_capacity == rich.motor.magnet_capacity
    found = heat_bench.study(rich, example())
    assert found.winding_to_stator < whole().winding_to_stator and found.stator_to_housing < whole().stator_to_housing
    assert found.housing_capacity < whole().housing_capacity


def test_the_build_takes_the_network_with_its_doubts(tmp_path):
    made = heat_bench.fitted_build(build(), whole())
    for name in heat_bench.FITTED:
        mean, deviation = made.spreads[f"motor.{name}"].parameters
        assert getattr(made.motor, name) == mean == pytest.approx(getattr(whole(), name), rel=1e-4)
        assert deviation == pytest.approx(mean * whole().fit.error[NETWORK.index(name)], rel=0.05)
    assert "heating run 'warmed_at_20A'" in made.motor.source
    assert made.motor.phase_resistance == build().motor.phase_resistance
    path = tmp_path / "variant.toml"
    save_build(made, path)
    again = load_build(path)
    assert again.motor.winding_capacity == made.motor.winding_capacity and again.spreads.keys() == made.spreads.keys()
    with pytest.raises(InputError, match="a file that exists already; it is unchanged"):
        save_build(made, path)


def test_by_hand_the_winding_agrees_and_one_body_does_not():
    by_hand = heat_bench.by_resistance(example(), whole().fit.start)
    hot = np.nanargmax(whole().winding)
    assert by_hand[hot] == pytest.approx(whole().winding[hot], abs=2.0)
    from_start, late = heat_bench.two_readings(whole(), 600.0, 1500.0), heat_bench.two_readings(whole(), 1800.0, 1200.0)
    assert from_start[0] > 2 * whole().slowest  # the housing begins late, as no single body does
    assert late[0] == pytest.approx(whole().slowest, rel=0.1)
    with pytest.raises(ValueError, match="2 first_rise - second_rise must be above 0"):
        heat_bench.two_readings(whole(), 600.0, 600.0)


def test_the_slowest_time_constant_is_that_of_the_last_cooling():
    """Late in a long cooling of a computed run only the slowest mode is left; its air is still and its conductance nearly so."""
    found = whole()
    rise = found.housing_predicted - np.interp(found.time, found.time, found.fit.predicted["air"])
    late = (found.time > 6500) & (found.time < 9000)
    slope = np.polyfit(found.time[late], np.log(rise[late]), 1)[0]
    assert -1 / slope == pytest.approx(found.slowest, rel=0.25)


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"housing_temperature": 293.15 + 30.0}, "housing_temperature begins \\+.* K from air_temperature; let it stand for a night"),
        ({"direct_voltage": 20.0}, "voltage over current is 9.9.* ohm in the first reading, and the build states 0.17 ohm for 2 phases"),
        ({"heated_phases": 1.0}, "heated_phases must be the constant 2 .* or 3"),
    ],
)
def test_runs_that_cannot_be_meant_are_refused(changes, said):
    quantities = dict(example().quantities)
    for name, value in changes.items():
        one = quantities[name]
        quantities[name] = replace(one, values=np.full(np.shape(one.values), value))
    with pytest.raises(ValueError, match=said):
        heat_bench.study(build(), make_run("strange", "heating", quantities))


def test_other_runs_and_builds_are_refused():
    with pytest.raises(ValueError, match="is a run of kind 'resistance': the thermal network needs a heating run"):
        heat_bench.study(build(), load_bench(DATA / "bench" / "harbour_hub.toml")["winding"])
    with pytest.raises(ValueError, match="build 'Harbour ungeared' has no motor"):
        heat_bench.study(build("harbour_ungeared"), example())


def test_the_result_is_shown_in_units():
    lines = whole().summary()
    assert lines["winding to stator"] == f"{whole().winding_to_stator:.2f} W/K"
    assert lines["hottest reading of the winding"] == f"{whole().hottest - 273.15:.0f} °C"
    table = whole().table()
    assert len(table) == len(whole().time) and "half width of its band [K]" in table
