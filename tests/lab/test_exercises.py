"""Exercises: right answers, slips that are named, and unit errors as sentences."""

import math

import pytest

from unikit.lab import exercises
from unikit.lab.exercises import SLIPS, Exercise, Slip, check, declare, forgot


@pytest.fixture(autouse=True)
def declared(monkeypatch):
    monkeypatch.setattr(exercises, "EXERCISES", {})
    declare(
        Exercise("t.torque", "torque", 12.3, hints=("radius for diameter", forgot("the gear's efficiency", 0.9), "sign")),
        Exercise("t.rate", "rotation", lambda: 90 * 2 * math.pi / 60, hints=("rpm for rad/s",)),
        Exercise("t.speed", "speed", 5.0, 0.001, ("km/h for m/s",)),
        Exercise("t.slope", "slope", 0.06, hints=("percent for fraction",)),
        Exercise("t.heat", "temperature", 353.15, "0.5 K"),
        Exercise("t.word", "word", "phase current"),
    )


@pytest.mark.parametrize(
    ("key", "answer", "line"),
    [
        ("t.torque", "12.3 N*m", "right: 12.3 N*m"),
        ("t.torque", "12.35 Nm", "right: 12.35 Nm"),
        ("t.torque", "12.5 N·m", "not yet: 12.5 N·m is too large"),
        ("t.torque", "9 N*m", "not yet: 9 N*m is too small"),
        ("t.torque", "-9 N*m", "not yet: -9 N*m is of the wrong sign"),
        ("t.torque", "24.6 N*m", "not yet: " + SLIPS["radius for diameter"][0].sentence),
        ("t.torque", "6.15 N*m", "not yet: " + SLIPS["radius for diameter"][0].sentence),
        ("t.torque", "13.67 N*m", "not yet: you seem to have left out the gear's efficiency"),
        ("t.torque", "-12.3 N*m", "not yet: the size is right, the sign is not: which way counts as positive?"),
        ("t.rate", "90 rpm", "right: 90 rpm"),
        ("t.rate", "9.42 rad/s", "right: 9.42 rad/s"),
        ("t.rate", "90 rad/s", "not yet: " + SLIPS["rpm for rad/s"][0].sentence),
        ("t.speed", "18 km/h", "right: 18 km/h"),
        ("t.speed", "18 m/s", "not yet: " + SLIPS["km/h for m/s"][0].sentence),
        ("t.speed", "5 km/h", "not yet: " + SLIPS["km/h for m/s"][0].sentence),
        ("t.slope", "6 %", "right: 6 %"),
        ("t.slope", 0.06, "right: 0.06"),
        ("t.slope", 6, "not yet: " + SLIPS["percent for fraction"][0].sentence),
        ("t.slope", float("nan"), "not yet: nan is not a finite number"),
        ("t.heat", "80.4 °C", "right: 80.4 °C"),
        ("t.heat", "81 °C", "not yet: 81 °C is too large"),
        ("t.word", " Phase current ", "right:  Phase current "),
        ("t.word", "voltage", "not yet: 'voltage' is not the word"),
        ("t.no", "1 m", "there is no exercise 't.no'; known: t.heat, t.rate, t.slope, t.speed, t.torque, t.word"),
    ],
)
def test_one_line_for_each_answer(capsys, key, answer, line):
    check(key, answer)
    assert capsys.readouterr().out == line + "\n"


@pytest.mark.parametrize(
    ("answer", "part"),
    [
        ("12.3 J", "'J' is a unit of energy; allowed: N*m"),
        ("12,3 N*m", "a comma stands in the number"),
        ("12.3", "the unit is missing"),
        (12.3, "write text with a unit, such as '1 N*m'"),
        (None, "write text with a unit"),
        ("", "it does not start with a plain number"),
    ],
)
def test_a_wrong_unit_gives_the_sentence_of_the_units(capsys, answer, part):
    check("t.torque", answer)
    line = capsys.readouterr().out
    assert line.startswith("not yet: cannot read ") and part in line and line.count("\n") == 1


def test_every_slip_is_found_in_an_exercise_that_names_it(capsys):
    for name, slips in SLIPS.items():
        declare(Exercise("t.slip", "number", 1.234, 0.001, (name,)))
        for slip in slips:
            check("t.slip", 1.234 * slip.factor)
            assert capsys.readouterr().out == f"not yet: {slip.sentence}\n"


def test_the_expected_answer_is_never_shown(capsys):
    declare(Exercise("t.secret", "number", 7654.0, hints=(Slip(3.0, "thrice"),)))
    for answer in (1, -1, 22962.0, 1e9, "x"):
        check("t.secret", answer)
    assert "7654" not in capsys.readouterr().out


def test_declaring_refuses_unknown_kinds_and_hints():
    with pytest.raises(ValueError, match="unknown kind 'weight'"):
        Exercise("t.x", "weight", 1.0)
    with pytest.raises(ValueError, match="unknown hint 'haste'; known: rpm for rad/s"):
        Exercise("t.x", "mass", 1.0, hints=("haste",))
