"""The same case again and again: against going round and round, and known limits."""

import numpy as np
import pytest

from unikit.formulas import heat as formulas
from unikit.inputs import replace
from unikit.studies import heat
from unikit.studies.drive import ROOM

from . import examples

CLIMB = {"slope": 0.12, "speed": 3.0, "trim": "none", "duration": 700.0, "sun": 300.0}


@pytest.mark.parametrize("make", [examples.strong, examples.described])
def test_the_round_that_repeats_itself_is_the_last_of_many(make):
    build, case = make(), examples.case(**CLIMB)
    gear = build.gears.named("long")
    found = heat.study(build, case, gear, points=5).winding_repeated
    rest = heat.network(build, replace(case, {"speed": 0.0}), gear)
    off = np.where(np.arange(len(rest.losses)) == rest.place[3], rest.losses, 0.0)  # the sunshine stays
    magnets, kelvin = 293.15, np.full(len(rest.capacity), 293.15)
    for _ in range(60):
        ride = heat.network(build, case, gear, magnets)
        time = np.linspace(0.0, case.duration, 40)
        climb = formulas.network_response(ride.capacity, ride.conductance, ride.losses, 293.15, kelvin, time, ride.loss_slope, ROOM)
        kelvin = formulas.network_response(rest.capacity, rest.conductance, off, 293.15, climb[-1], case.duration)
        magnets = climb[:, ride.place[2]].max()
    assert found == pytest.approx(climb[:, 0].max(), abs=0.1)
    once = heat.study(build, case, gear).winding_end
    assert once + 2.0 < found < heat.study(build, case, gear).winding_steady


def test_long_rounds_settle_and_short_ones_feel_half_the_loss():
    build, case = examples.strong(), examples.case(**(CLIMB | {"sun": 0.0}))
    long = heat.study(build, replace(case, {"duration": 2e5}))
    assert long.winding_repeated == pytest.approx(long.winding_steady, abs=0.3)
    short = heat.study(build, replace(case, {"duration": 1.0}))
    assert 0.3 < (short.winding_repeated - 293.15) / (short.winding_steady - 293.15) < 0.7
    assert heat.study(build, replace(case, {"duration": 0.0})).winding_repeated == case.air_temperature


def test_rounds_that_get_hotter_each_time_have_no_end():
    build = examples.strong(motor__winding_to_stator=0.4, assist__driving_gain__long=3.0)
    case = examples.case(**(CLIMB | {"slope": 0.3, "duration": 4000.0}))
    assert heat.study(build, case).winding_repeated == np.inf
