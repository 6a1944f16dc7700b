"""Datasheet files: everything may be missing, and whatever is there must say what it means."""

import pytest

from unikit.inputs import Datasheet, InputError, load_datasheet
from unikit.inputs.reading import from_table
from unikit.inputs.writing import to_table

HEAD = {"format": 1, "name": "x"}


@pytest.mark.parametrize("name", ["half_a_page", "two_minds", "one_line"])
def test_the_examples_are_read_and_written_back_as_they_are(root, name):
    sheet = load_datasheet(root / f"data/datasheets/{name}.toml")
    assert "nvented" in sheet.note
    assert from_table(Datasheet, to_table(sheet)) == sheet


def test_nothing_but_a_name_is_needed():
    sheet = from_table(Datasheet, HEAD)
    assert sheet.speed_constant is None and sheet.no_load is None and dict(sheet.spreads) == {}


def test_tolerances_in_every_form():
    sheet = from_table(
        Datasheet,
        HEAD | {"mass": "4 kg ± 5 %", "resistance": "150 mohm to 170 mohm", "resistance_of": "line", "no_load": {"voltage": "48 V ± 1 V"}},
    )
    assert sheet.spreads["mass"].parameters == pytest.approx((4.0, 0.2))
    assert sheet.spreads["resistance"].parameters == pytest.approx((0.15, 0.17)) and sheet.resistance == pytest.approx(0.16)
    assert sheet.spreads["no_load.voltage"].parameters == pytest.approx((48.0, 1.0))


@pytest.mark.parametrize(
    ("given", "said"),
    [
        (
            {"torque_constant": "1 N·m/A"},
            "torque_constant_per: expected one of 'peak', 'rms', 'dc', 'six step', since torque_constant is given",
        ),
        ({"torque_constant_per": "rms"}, "torque_constant: expected a number, since torque_constant_per is given; found: nothing"),
        ({"resistance": "0.1 ohm"}, "resistance_of: expected one of 'line', 'star phase', 'delta phase', since resistance is given"),
        ({"inductance": "1 mH"}, "inductance_of: expected one of"),
        ({"resistance_temperature": "20 °C"}, "resistance: expected a resistance, since resistance_temperature is given"),
        ({"speed_constant_per": "rms phase"}, "speed_constant: expected a speed constant, since speed_constant_per is given"),
        ({"rated": {"current": "9 A"}}, "rated.current_in: expected one of 'peak', 'rms', 'dc', 'six step', since current is given"),
        ({"stall": {"current_in": "rms"}}, "stall.current: expected a number, since current_in is given"),
        (
            {"no_load": {"speed": "300 rpm"}},
            "no_load.voltage: expected a voltage, since speed and current of a run without load belong to one",
        ),
        ({"speed_constant": "9 rpm"}, "speed_constant = '9 rpm': expected a speed constant"),
        ({"speed_constant": 9}, "a number without its unit"),
        (
            {"torque_constant": "-1 N·m/A", "torque_constant_per": "rms"},
            "torque_constant = '-1 N·m/A': expected a torque constant from 0.002 N·m/A",
        ),
        ({"pole_pairs": "20 ± 1"}, "a count with a spread"),
        ({"rated": {"efficiency": "120 %"}}, "rated.efficiency = '120 %': expected a ratio from 0.05 to 0.995"),
        ({"kv": "9 rpm/V"}, "kv: an unknown name"),
        ({"speed_constant": "9 rpm/V", "speed_constant_per": "line"}, "speed_constant_per = 'line': expected one of 'peak line to line'"),
    ],
)
def test_one_mistake_is_one_line_with_field_and_value(given, said):
    with pytest.raises(InputError) as caught:
        from_table(Datasheet, HEAD | given, "page.toml")
    (line,) = str(caught.value).splitlines()
    assert line.startswith("page.toml: ") and said in line
