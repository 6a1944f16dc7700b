"""The registry: the door gives the same numbers as the plain call, and costs a plain call nothing."""

import numpy as np
import pytest
from published import rows

from unikit import units
from unikit.formulas import FORMULAS

SAMPLES = {row.formulas[0].name: row for row in rows() if row.inputs}


@pytest.mark.parametrize("name", sorted(SAMPLES))
def test_door_equals_plain_call(name):
    entry, given = FORMULAS[name], SAMPLES[name].inputs
    plain, dressed = {}, {}
    for argument, value in given.items():
        unit = entry.arguments[argument]
        plain[argument] = units.magnitude(value, unit, argument) if unit and isinstance(value, str) else value
        bare = unit is None or units.KINDS[unit.kind].base == ""
        dressed[argument] = value if bare else units.quantity(plain[argument], unit)
    answer, dressed_answer = entry.function(**plain), entry.with_units(**dressed)
    parts = zip(answer, dressed_answer, strict=True) if isinstance(entry.result, dict) else [(answer, dressed_answer)]
    for (expected, got), unit in zip(parts, entry.result.values() if isinstance(entry.result, dict) else [entry.result], strict=True):
        if unit is None:
            assert np.all(got == expected)
        else:
            assert units.magnitude(got, unit) == pytest.approx(expected, rel=1e-12)


def test_a_registered_formula_is_the_plain_function():
    for entry in FORMULAS.values():
        assert entry.function.__name__ == entry.name.rpartition(".")[2]
        assert not hasattr(entry.function, "__wrapped__"), entry.name
        assert entry.function.with_units is not None


def test_every_number_has_a_unit():
    words = (str, bool, "str", "bool", "bool | np.ndarray", "str | np.ndarray", "u.Values", "Plant", "Reflex", "Path", "GainWindow")
    words += ("Callable[[float], bool] | None", "Callable[[np.ndarray], np.ndarray]", "NetworkFit | None")
    for name, entry in FORMULAS.items():
        for argument, unit in entry.arguments.items():
            hint = entry.function.__annotations__.get(argument)
            fields = getattr(entry.function.__globals__.get(hint), "_fields", ())  # a record states the units of its fields itself
            assert unit is not None or hint in words or fields, f"{name}: {argument} has no unit ({hint})"
