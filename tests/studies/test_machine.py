"""The side view's numbers: what a push on a level crank becomes at the road."""

import pytest

from unikit.inputs import replace
from unikit.studies import leverage, machine

from . import examples


def test_a_push_by_virtual_work():
    """Without losses the power of foot and road is the same: force times the pedal's travel, over the road's travel."""
    build = replace(examples.build(), {"gears.gear.long.efficiency": 1.0})
    result = machine.study(build, examples.case())
    assert result.push_gear == pytest.approx(100.0 / result.travel_ratio, rel=1e-12)
    assert result.push_ungeared == pytest.approx(100.0 * 0.143 / build.wheel.radius, rel=1e-12)
    assert result.push_assisted > result.push_gear


def test_the_restoring_gain_gives_the_push_back():
    build = examples.build()
    gain = leverage.study(build, examples.case()).restoring_gain
    result = machine.study(replace(build, {"assist.driving_gain.long": gain}), examples.case())
    assert result.push_assisted == pytest.approx(result.push_ungeared, rel=1e-12)


def test_measures_of_the_machine():
    result = machine.study(examples.build(), examples.case(slope=0.03))
    assert result.total_mass == pytest.approx(78 + 4.3 + 4.1 + 4.6 + 0.45 + 3 * 0.72)
    assert result.saddle_height == pytest.approx(1.09 * 0.832 - 0.131)
    assert result.slope == 0.03 and result.gear == "long"
