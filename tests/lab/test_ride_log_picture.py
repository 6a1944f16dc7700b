"""The picture of a ride log: every stretch lies within its axes, also in a strong wind, and the axes hold still."""

import pytest

from unikit.inputs import load_build, load_case
from unikit.lab import panels
from unikit.lab.figures import ride_log as picture
from unikit.studies import ride_logged


@pytest.mark.parametrize("wind", [0.5, 5.0])
def test_every_stretch_lies_within_the_axes(wind):
    build, case = load_build("data/builds/harbour_commuter.toml"), load_case("data/cases/flat_cruise.toml")
    log = ride_logged.ride(ride_logged.hidden(build), case, ride_logged.Scenario(wind_from_north=wind), seed=4).log()
    scene = panels.scene("ride_log", build, case, ride=log, opened=build)
    held, found = scene.span, scene.more
    for one in (scene.main, found):
        assert held.behind <= one.pressure.min() and one.pressure.max() <= held.pressure
        assert held.low <= one.measured.min() and one.measured.max() <= held.high
    assert (held.behind < 0) == (found.pressure.min() < 0) == (wind > 3)
    assert found.rolling_coefficient_high <= held.rolling and found.drag_area_high <= held.area
    assert picture.span(scene, held) == held
