"""Local rules: the table as data, the units of its limits, and answers that conclude nothing."""

import csv
import dataclasses
import re
from datetime import date

import numpy as np
import pytest

from unikit import units
from unikit.studies import rules

EVERY = list(rules.local_rules().values())
COLUMNS = ["key", "area", "text", "power_limit", "assist_speed_limit", "wheels", "covers_one_wheel", "as_of", "source", "seen", "note"]


def test_table_has_its_columns_and_one_row_for_each_key(root):
    with (root / "unikit/inputs/tables/local_rules.csv").open(encoding="utf-8", newline="") as handle:
        reader = csv.DictReader(handle)
        lines = list(reader)
    assert reader.fieldnames == COLUMNS
    assert [line["key"] for line in lines] == [rule.key for rule in EVERY]
    assert all(None not in line and None not in line.values() for line in lines)


@pytest.mark.parametrize("rule", EVERY, ids=lambda rule: rule.key)
def test_every_rule_is_dated_sourced_and_plain(rule):
    assert re.fullmatch(r"[a-z0-9]+(-[a-z0-9]+)*", rule.key)
    assert rule.covers_one_wheel in rules.COVERS
    assert date(1990, 1, 1) < rule.as_of <= date.today()
    assert all((rule.area, rule.text, rule.wheels, rule.source, rule.seen))
    assert rule.power_limit or rule.assist_speed_limit
    assert rule.note.endswith(".")
    with pytest.raises(dataclasses.FrozenInstanceError):
        rule.power_limit = 1000.0


@pytest.mark.parametrize(
    ("key", "power", "kmh", "metres_per_second"),
    [
        ("great-britain", 250.0, 24.945, None),  # P-LAW-01
        ("european-union", 250.0, 25.0, 6.944),  # P-LAW-02
        ("united-states", 750.0, 32.187, None),  # P-LAW-03
        ("us-parks-class-1", 750.0, 32.19, None),  # P-LAW-04
        ("us-parks-class-2", 750.0, 32.19, None),
        ("us-parks-class-3", 750.0, 45.06, None),
        ("canada-2001", 500.0, 32.0, 8.889),  # P-LAW-05
        ("british-columbia-2002", 500.0, 32.0, 8.889),
        ("spain-personal-mobility", None, 25.0, None),  # P-LAW-10
        ("japan", None, 24.0, None),
    ],
)
def test_limits_in_si(key, power, kmh, metres_per_second):
    rule = rules.look_up(key)
    assert rule.power_limit == power
    assert units.convert(rule.assist_speed_limit, "speed", "m/s", "km/h") == pytest.approx(kmh, abs=0.005)
    if metres_per_second:
        assert rule.assist_speed_limit == pytest.approx(metres_per_second, abs=0.0005)


def test_conversions_that_stand_in_the_texts():
    # P-LAW-02: a quarter kilowatt; P-LAW-03: a rider of 170 lb, and 1 h.p. beside 750 W
    assert units.parse("0.25 kW", "power") == rules.look_up("european-union").power_limit
    assert units.parse("170 lb", "mass") == pytest.approx(77.11, abs=0.005)
    horsepower = 550 * units.parse("1 lbf", "force") * units.parse("1 ft", "length")
    assert horsepower == pytest.approx(745.70, abs=0.005)
    assert horsepower < rules.look_up("united-states").power_limit


def test_which_texts_reach_one_wheel():
    # P-LAW-06
    covers = {rule.key: rule.covers_one_wheel for rule in EVERY}
    assert [key for key, word in covers.items() if word == "yes"] == ["spain-personal-mobility"]
    assert {covers[key] for key in ("great-britain", "united-states", "us-parks-class-1", "japan")} == {"no"}
    assert covers["british-columbia-2002"] == "not excluded"


@pytest.mark.parametrize("rule", EVERY, ids=lambda rule: rule.key)
@pytest.mark.parametrize(("power", "speed"), [(240.0, 6.0), (5000.0, 20.0), (None, None)])
def test_answers_conclude_nothing_and_name_date_and_source(rule, power, speed):
    said = rules.assessment(rule, power, speed)
    assert not re.search(r"legal|allowed|permitted|forbidden|complies|\bsafe\b", said, re.IGNORECASE)
    assert "Local law prevails" in said
    assert rule.as_of.isoformat() in said and rule.source in said
    assert ("class not determined" in said) == (rule.covers_one_wheel != "yes")


def test_class_stays_open_whatever_the_figures():
    rule = rules.look_up("great-britain")
    weak, strong = rules.assessment(rule, 100.0, 2.0), rules.assessment(rule, 3000.0, 15.0)
    assert weak == strong
    assert "does not reach one wheel (pedal cycles with two or more wheels)" in weak
    assert "does not say whether it means one wheel" in rules.assessment(rules.look_up("british-columbia-2002"), 250.0, 6.0)


def test_where_one_wheel_is_covered_limits_stand_beside_the_figures():
    said = rules.assessment(rules.look_up("spain-personal-mobility"), 540.0, 8.0)
    assert "the text covers one wheel (one or more wheels)" in said
    assert "Its limits: power not limited in the text seen, assistance up to 25 km/h." in said
    assert "This build: power 540 W, assistance up to 28.8 km/h" in said
    assert "pedals are outside it" in said
    assert "power unknown, assistance up to an unknown speed" in rules.assessment(rules.look_up("spain-personal-mobility"), None, None)


def test_a_printed_power_limit_is_stated_where_one_wheel_is_covered():
    made_up = dataclasses.replace(rules.look_up("spain-personal-mobility"), power_limit=300.0, printed_power_limit="300 W")
    assert "Its limits: power 300 W, assistance up to 25 km/h." in rules.assessment(made_up, 540.0, 8.0)


def test_no_key_gives_no_rule_and_an_unknown_one_lists_the_table():
    assert rules.look_up(None) is None
    assert rules.assessment(None, 300.0, 5.0) == "class not determined: no area is named. Local law prevails."
    with pytest.raises(
        ValueError, match=r"no local rule 'atlantis'; the table has: great-britain, european-union, .*spain-personal-mobility"
    ):
        rules.look_up("atlantis")


def test_japan_ratio_has_no_step_at_either_end():
    # P-LAW-07
    assert rules.japan_assist_ratio(17 / 3.6) == pytest.approx(1.0, abs=1e-12)
    for edge, value in ((10.0, 2.0), (24.0, 0.0)):
        below, at, above = (rules.japan_assist_ratio((edge + offset) / 3.6) for offset in (-1e-9, 0.0, 1e-9))
        assert at == pytest.approx(value, abs=1e-12)
        assert below == pytest.approx(at, abs=1e-9) and above == pytest.approx(at, abs=1e-9)


def test_japan_ratio_follows_the_three_lines_of_the_text():
    kmh = np.linspace(0.0, 40.0, 801)
    text = [2.0 if v < 10 else 2.0 - (v - 10) / 7 if v < 24 else 0.0 for v in kmh]
    ratio = rules.japan_assist_ratio(kmh / 3.6)
    assert ratio == pytest.approx(np.array(text), abs=1e-12)
    assert np.all(np.diff(ratio) <= 1e-12)
    assert ratio.tolist() == [rules.japan_assist_ratio(v) for v in kmh / 3.6]
    with pytest.raises(ValueError, match=r"speed must be 0 or above, got -1"):
        rules.japan_assist_ratio(-1.0)
