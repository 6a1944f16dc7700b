"""The pictures of joined packs and of the wiring say what their studies found, also where something is missing or contradicts."""

import pytest

from unikit.inputs import load_build, load_case, replace
from unikit.lab import panels
from unikit.lab.figures import PICTURES
from unikit.studies import carriage, joining, pack, wiring


def drawn(root, topic, changes=None, asked=None, build="harbour_commuter", **words):
    made = replace(load_build(root / f"data/builds/{build}.toml"), changes or {})
    one = panels.scene(topic, made, replace(load_case(root / "data/cases/harbour_hill.toml"), asked or {}), **words)
    return one.main, PICTURES[topic].draw(one)


def said(axes):
    return " | ".join(text.get_text() for text in axes.texts)


def test_joining_tells_current_limit_and_heat(root):
    result, axes = drawn(root, "joining", asked={"state_of_charge": 1.0})
    main, course = said(axes["main"]), said(axes["course"])
    assert f"{result.difference:.1f} V apart, {result.allowed:.1f} V allowed" in main and f"{result.peak:.1f} A at first" in main
    assert "204 s above the limits" in course and f"{result.limit:.1f} A, charge current of pack right" in course
    line = axes["main"].lines
    assert any(tuple(one.get_xdata()) == (result.difference,) and one.get_ydata()[0] == pytest.approx(result.peak) for one in line)


def test_joining_the_other_way_round_takes_the_other_limit(root):
    result, axes = drawn(root, "joining", asked={"state_of_charge": 0.2}, others=0.9, joined="rear")
    assert result.difference < 0 and f"{result.limit:.1f} A, charge current of pack rear" in said(axes["course"])
    low = axes["main"].get_ylim()[0]
    assert low <= result.current[0] < -result.limit_taking


def test_joining_within_the_limits_and_cells_that_take_nothing(root):
    assert "never above the limits" in said(drawn(root, "joining", asked={"state_of_charge": 0.5}, others=0.4)[1]["course"])
    none = {f"packs.pack.{name}.charge_current_limit": 0.0 for name in ("left", "right", "rear")}
    assert "the cells take no charge" in said(drawn(root, "joining", none)[1]["course"])


def test_wiring_marks_the_fuse_the_window_and_what_is_not_met(root):
    result, axes = drawn(root, "wiring")
    text = said(axes["main"])
    assert f"fuse in it: {result.window_low:.1f} A to {result.window_high:.1f} A fits, ended by the main lead" in text
    assert "15 A; not met: below the main lead" in text and "3 fuses" in text and "plug" in text
    good = said(drawn(root, "wiring", {"wiring.fuse_rating": "10 A"})[1]["main"])
    assert "10 A; narrowest: below the main lead" in good


def test_wiring_without_a_fitting_fuse_without_a_fuse_and_without_wiring(root):
    assert "no fuse fits: from 8.0 A, to 4.8 A" in said(drawn(root, "wiring", {"wiring.main_area": "0.75 mm^2"})[1]["main"])
    names = ("rating", "voltage", "breaking_current", "melting", "let_through")
    assert "no fuse described" in said(drawn(root, "wiring", {f"wiring.fuse_{name}": None for name in names})[1]["main"])
    bare = said(drawn(root, "wiring", build="classroom_demonstrator")[1]["main"])
    assert "pack lead: not described" in bare and "a fuse from 9.0 A" in bare
    melts = said(drawn(root, "wiring", {"wiring.phase_area": "0.02 mm^2"})[1]["main"])
    assert "motor lead, 0.02 mm²: melts on this ride" in melts


@pytest.mark.parametrize("name", ["harbour_commuter", "classroom_demonstrator", "harbour_measured"])
def test_words_of_findings_have_room_beside_the_margins(root, name):
    """About fifty letters fit at laptop width, the verdict before them counted."""
    build = load_build(root / f"data/builds/{name}.toml")
    gear = build.gears.named(build.gears.engaged)
    for case in (load_case(root / f"data/cases/{one}.toml") for one in ("harbour_hill", "head_wind", "long_descent")):
        rows = [*pack.margins(build, case, gear), *wiring.margins(build, case, gear), *joining.margins(build), *carriage.margins(build)]
        assert all(len(words) <= 42 for _, margin, words in rows if margin == margin)
