"""The desk of controls: what it offers of a build, and the variant that the reader's values stand for."""

import pytest

from unikit.inputs import load_build, load_case, replace
from unikit.lab import settings
from unikit.lab.controls import Choice
from unikit.lab.settings import Desk
from unikit.lab.topics import ASKED
from unikit.studies import loop

PERSON = ("rider.reaction_delay", "rider.muscle_lag", "rider.prediction", "rider.leg_damping", "rider.leg_stiffness")


@pytest.fixture
def given(root):
    return load_build(root / "data/builds/harbour_commuter.toml"), load_case(root / "data/cases/harbour_hill.toml")


def test_what_the_build_does_not_say_is_offered_only_from_a_completed_one(given):
    build, case = given
    assert Desk(build, case, PERSON, ()).controls == []
    desk = Desk(build, case, PERSON, (), loop.completed(build))
    assert [control.name for control in desk.controls] == list(PERSON)
    assert desk.start == {
        "rider.reaction_delay": pytest.approx(0.125),
        "rider.muscle_lag": pytest.approx(0.040),
        "rider.prediction": "acceleration",
        "rider.leg_damping": pytest.approx(3.0),
        "rider.leg_stiffness": pytest.approx(75.0),
    }
    choice = next(control for control in desk.controls if isinstance(control, Choice))
    assert choice.values == ["rate", "acceleration"] and all(len(word) > 4 for word in choice.options)


def test_a_field_that_nobody_moved_stays_open_and_a_moved_one_is_the_readers(given):
    build, case = given
    desk = Desk(build, case, PERSON, ("slope",), loop.completed(build))
    assert desk.variant(desk.start) == (build, case)
    moved = desk.start | {"rider.reaction_delay": 0.16, "rider.prediction": "rate"}
    made, _ = desk.variant(moved)
    assert (made.rider.reaction_delay, made.rider.prediction, made.rider.muscle_lag) == (0.16, "rate", None)
    assert "rider.reaction_delay" not in loop.assumed(made) and "rider.muscle_lag" in loop.assumed(made)


def test_every_setting_lies_inside_the_limits_of_its_field(given):
    from unikit import units
    from unikit.inputs import describe

    for pattern, setting in settings.BUILD.items():
        spec = describe(pattern.format(gear="long", pack="left"))
        low, high = (units.convert(end, spec.kind, setting.unit) for end in (setting.low, setting.high))
        assert spec.low <= low * (1 + 1e-9) and high <= spec.high * (1 + 1e-9), pattern
    for pattern, (_, words) in settings.BUILD_CHOICES.items():
        assert set(words.values()) == set(describe(pattern).words)


def test_what_a_case_leaves_open_begins_where_it_follows_and_stays_open(given, root):
    build, _ = given
    case = load_case(root / "data/cases/flat_cruise.toml")
    assert case.winding_start is None
    desk = Desk(build, case, (), ("winding_start",))
    assert desk.start == {"case.winding_start": case.air_temperature}
    assert desk.variant(desk.start) == (build, case)
    assert desk.variant({"case.winding_start": 350.0})[1].winding_start == 350.0


def test_limits_of_the_drive_are_offered_where_the_build_states_them(given):
    build, case = given
    stated = {
        "controller.weakening_current": 20.0,
        "controller.electrical_frequency_limit": 300.0,
        "motor.saturation_current": 120.0,
    }
    fields = ASKED["reach"].build_fields
    bare = {path: None for path in stated}
    without, whole = (Desk(replace(build, changes), case, fields, ()) for changes in (bare, stated))
    assert {control.name for control in whole.controls} - {control.name for control in without.controls} == set(stated)
    assert {path: whole.start[path] for path in stated} == stated
