"""The convergence tables of the page on delays, computed anew."""

import re
from pathlib import Path

import numpy as np
import pytest

from tests.delayed_loops import machine, pendulum
from unikit.formulas import _chebyshev, delay

PAGE = (Path(__file__).parents[2] / "docs/delay.md").read_text(encoding="utf-8")
SAID = re.findall(r"^\| (\d+) \+ (\d+) \| (\d+) \| (\S+) \| (\S+) \| (\d+) \| (\d+) \| (\S+) \| (\S+) \|$", PAGE, re.MULTILINE)
SAMPLED = re.findall(r"^\| (\d+) \| (\S+) \| (\S+) \| (\S+) \|$", PAGE.partition("## Margins from samples")[2], re.MULTILINE)
FLOOR = 1e-11  # below it rounding decides, which differs from library to library


def error(matrices, order, count):
    """Distance of the exact roots from the nearest eigenvalue before the polish, and the rows of the matrix."""
    system = _chebyshev.without_idle(_chebyshev.read(*matrices)[0])
    found = np.linalg.eigvals(_chebyshev.generator(system, order)[0])
    exact = delay.rightmost_roots(*matrices, count=count)
    return np.abs(exact[:, None] - found).min(axis=1).max(), len(found), _chebyshev.orders(system, order)


def same(one, said):
    """The printed digit, with half as much again for what is nearest to what."""
    return max(one, FLOOR) == pytest.approx(max(float(said), FLOOR), rel=0.6)


def test_the_table_is_found():
    assert len(SAID) == 6 and len(SAMPLED) == 4


@pytest.mark.parametrize("row", SAID, ids=lambda row: f"{row[0]}+{row[1]}")
def test_errors_before_the_polish_are_those_of_the_table(row):
    for matrices, order, rows, few, many in ((machine(), row[0], row[2], *row[3:5]), (pendulum(9.81, 13.0, 4.5, 0.2), *row[5:])):
        for count, said in ((4, few), (6, many)):
            found, size, used = error(matrices, int(order), count)
            assert size == int(rows)
            assert same(found, said), (found, said, count)
    assert used == [int(row[5])]


def loop(rate):
    """The pendulum of the page, opened."""
    return (13.0 + 4.5j * rate) * delay.pure_delay(rate, 0.2) / (-(rate**2) - 9.81)


@pytest.mark.parametrize("row", SAMPLED, ids=lambda row: row[0])
def test_errors_of_margins_from_samples_are_those_of_the_table(row):
    exact = delay.margins(np.linspace(0, 60, 4001), loop)
    rates = np.linspace(0, 60, int(row[0]))
    found = delay.margins(rates, loop(rates))
    for name, said in zip(("gain_up", "phase", "vector"), row[1:], strict=True):
        assert same(abs(getattr(found, name) - getattr(exact, name)), said), name
