"""The topic panels, driven through every control for every build."""

import re
import tomllib

import numpy as np
import pytest
from ipywidgets.widgets.widget import _instances

from unikit.inputs import load_build, load_case, replace
from unikit.lab import panels
from unikit.lab.controls import Choice

BUILDS = ("harbour_commuter", "harbour_ungeared", "classroom_demonstrator")
NEEDS_MOTOR = ("slopes", "motor", "winding", "reach", "heat", "climbs", "carriage", "pack", "sensing", "joining", "wiring")
STILL = {  # what moves no finding of a build that does not state its hub, or the rest of its packs
    ("parts", "harbour_ungeared"): ("rider.mass", "case.speed", "case.head_wind"),
    ("parts", "classroom_demonstrator"): ("packs.held_back", "case.speed", "case.head_wind"),
    # without a wind by direction it comes from nowhere; at the case's speed on a steady climb legs give more than at ease anyway
    ("journey", "harbour_commuter"): ("case.wind_from",),
    ("journey", "harbour_ungeared"): ("case.wind_from", "case.leg_power"),
    ("journey", "classroom_demonstrator"): ("case.wind_from", "case.leg_power"),
    ("slopes", "classroom_demonstrator"): ("assist.trim_step",),  # a step above its cap is refused, and the picture stays
}
PAIRS = [(topic, build) for topic in panels.ASKED for build in BUILDS]


def make(root, topic, build, case="harbour_hill", **options):
    ask = getattr(panels, topic)
    return ask(load_build(root / f"data/builds/{build}.toml"), load_case(root / f"data/cases/{case}.toml"), **options)


def checked(panel, before):
    """No fault; what the values do not allow is told in a sentence and keeps the last picture."""
    if panel.error is not None:
        assert isinstance(panel.error, ValueError), repr(panel.error)
        assert panel.alert.value.startswith('<p role="alert">') and "fault" not in panel.alert.value
        assert panel.image.value == before
    else:
        assert bytes(panel.image.value).startswith(b"\x89PNG") and panel.numbers.value.count("<tr>") >= 5
    return bytes(panel.image.value), panel.numbers.value


@pytest.mark.parametrize(("topic", "build"), PAIRS)
def test_every_control_at_its_ends_and_fifteen_random_settings(root, topic, build):
    panel = make(root, topic, build)
    without = build == "harbour_ungeared" and topic in NEEDS_MOTOR
    assert (panel.error is not None) == without
    widgets, start = len(_instances), panel.image.value
    for name, row in panel.rows.items():
        control = row.control
        stops = control.values if isinstance(control, Choice) else [control.low, control.high]
        shown = []
        for stop in stops:
            before = panel.image.value
            row.box.value = stop
            shown.append(checked(panel, before))
        still = topic == "train" and build == "harbour_ungeared" and "ratio" not in name  # without a gear there is no train to turn
        still = still or name in STILL.get((topic, build), ())
        if not without and not still:
            assert len(set(shown)) > 1, f"{name} moves nothing"
        panel.reset.click()
        assert panel.image.value == start and (panel.error is not None) == without
    random = np.random.default_rng(20)
    for _ in range(15):
        before = panel.image.value
        panel.set(**{name: _anywhere(row.control, random) for name, row in panel.rows.items()})
        checked(panel, before)
    assert len(_instances) == widgets


def _anywhere(control, random):
    if isinstance(control, Choice):
        return control.values[random.integers(len(control.values))]
    steps = round((control.high - control.low) / control.step)
    return control.si(min(control.low + control.step * random.integers(steps + 1), control.high))


@pytest.mark.parametrize("topic", panels.ASKED)
def test_all_cases_of_the_data_draw_at_once(root, topic):
    for build in BUILDS:
        for case in sorted((root / "data/cases").glob("*.toml")):
            panel = make(root, topic, build, case.stem)
            assert (panel.error is None) or (topic in NEEDS_MOTOR and build == "harbour_ungeared")


@pytest.mark.parametrize("topic", NEEDS_MOTOR)
def test_a_build_without_motor_is_told_so(root, topic):
    panel = make(root, topic, "harbour_ungeared")
    assert re.search(rf"has no (motor: the {topic} study needs one|packs: the {topic} study needs them)\.", panel.alert.value)
    assert panel.image.layout.display == "none" and panel.rows
    assert not [name for name in panel.rows if name.startswith(("motor.", "controller.", "packs.", "assist.")) or name == "case.trim"]


@pytest.mark.parametrize("topic", panels.ASKED)
def test_controls_carry_units_and_the_heading_names_build_and_case(root, topic):
    panel = make(root, topic, "harbour_commuter")
    assert panel.heading == f"{panels.ASKED[topic].title}: Harbour commuter, Harbour hill"
    for row in panel.rows.values():
        unit = getattr(row.control, "unit", "")
        assert (" / " in row.box.description) == bool(unit)


def test_heat_offers_the_paths_that_a_build_describes_and_each_moves_something(root):
    build, case = load_build(root / "data/builds/harbour_commuter.toml"), load_case(root / "data/cases/harbour_hill.toml")
    paths = {"magnet_capacity": 520.0, "magnet_to_housing": 28.0, "gap_diameter": 0.186, "gap_width": 0.0008, "stack_length": 0.028}
    paths |= {"end_winding_area": 0.021, "stator_to_axle": 0.35}
    plain = panels.heat(replace(build, {f"motor.{name}": None for name in paths}), case)
    offered = {"motor.gap_width", "motor.magnet_to_housing", "motor.end_winding_area", "motor.stator_to_axle"}
    assert not offered & set(plain.rows) and "case.sun" in plain.rows
    panel = panels.heat(replace(build, {f"motor.{name}": value for name, value in paths.items()}), case)
    start = panel.image.value
    for name in offered | {"case.sun"}:
        panel.rows[name].box.value = panel.rows[name].control.high
        assert panel.error is None and panel.image.value != start, name
        panel.reset.click()
        assert panel.image.value == start


def test_a_panel_needs_no_case(root):
    panel = panels.gearing(load_build(root / "data/builds/harbour_commuter.toml"))
    assert panel.error is None and panel.heading.endswith("Level road")


def test_axes_stay_while_a_slider_moves_a_little_and_grow_when_a_curve_would_leave_them(root):
    panel = make(root, "motor", "harbour_commuter")
    ratio = "gears.gear.long.ratio"
    start, figure = panel.result.key, panel._live[False].figure
    panel.set(**{ratio: 1.6})
    assert panel.result.key == start and panel._live[False].figure is figure
    panel.set(**{ratio: 2.4})
    assert panel.result.span.speed > start[1].speed
    panel.reset.click()
    assert panel.result.key == start


def test_small_machine_has_small_axes(root):
    small, large = make(root, "motor", "classroom_demonstrator"), make(root, "motor", "harbour_commuter")
    for end in ("speed", "highest"):
        assert getattr(small.result.span, end) < getattr(large.result.span, end) / 2


def test_start_panel_shows_few_numbers_and_few_controls(root):
    panel = make(root, "start", "harbour_commuter")
    assert {"gear ratio", "comfortable speed", "greatest speed", "cadence at the case's speed"} <= set(panel.result.summary())
    assert len(panel.result.summary()) == len(panels.ASKED["start"].numbers)
    assert 6 <= len(panel.rows) <= 8


def test_a_scene_without_panel_is_the_panels_first_one_when_nothing_is_left_to_compute(root):
    for topic in panels.ASKED:
        panel = make(root, topic, "harbour_commuter")
        panel.finish()
        build, case = load_build(root / "data/builds/harbour_commuter.toml"), load_case(root / "data/cases/harbour_hill.toml")
        assert panel.picture.png(panels.scene(topic, build, case)) == panel.image.value
    with pytest.raises(ValueError, match="no topic 'gears'; there are start, gearing, leverage"):
        panels.scene("gears", build, case)


def test_save_writes_the_values_under_a_name_of_ones_own(root, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    panel = make(root, "gearing", "harbour_commuter")
    panel.set(**{"gears.gear.long.ratio": 1.5, "cranks.length": "125 mm"})
    panel.save_as("my wheel")
    saved = load_build(tmp_path / "my wheel.toml")
    assert saved.name == "my wheel" and saved.gears.named("long").ratio == 1.5 and saved.cranks.length == 0.125
    assert saved.rider.mass == 78.0 and "rider.mass" in saved.spreads
    assert "status" in panel.kept.value and "Saved as my wheel" in panel.kept.value

    before = (tmp_path / "my wheel.toml").read_bytes()
    panel.set(**{"gears.gear.long.ratio": 1.4})
    panel.save_as("my wheel.toml")
    assert "exists already: choose another name." in panel.kept.value
    assert (tmp_path / "my wheel.toml").read_bytes() == before
    assert tomllib.loads(before.decode())["name"] == "my wheel"


def test_a_chosen_winding_is_what_is_saved_and_an_untouched_one_keeps_its_spreads(root, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    build = load_build(root / "data/builds/harbour_commuter.toml")
    panel = make(root, "winding", "harbour_commuter")
    panel.save_as("as built")
    assert load_build("as built.toml").motor == build.motor
    panel.set(turns=1.4)
    assert panel.result.main.turns == 1.4 and panel.result.summary()["turns looked at, over those as built"] == "1.40"
    panel.save_as("more turns")
    wound = load_build("more turns.toml").motor
    assert wound.torque_constant_peak == pytest.approx(1.4 * build.motor.torque_constant_peak)
    assert wound.phase_resistance == pytest.approx(1.96 * build.motor.phase_resistance) and wound.mass == build.motor.mass


@pytest.mark.parametrize("name", ["../up", "a/b", "a\\b", "c:d", ".hidden", "x\ny", ".toml", "what?"])
def test_save_refuses_what_is_no_plain_name(root, tmp_path, monkeypatch, name):
    monkeypatch.chdir(tmp_path)
    panel = make(root, "gearing", "harbour_ungeared")
    panel.save_as(name)
    assert "Write a plain name" in panel.kept.value and 'role="alert"' in panel.kept.value
    assert list(tmp_path.iterdir()) == []
