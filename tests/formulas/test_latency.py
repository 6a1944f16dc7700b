"""The dead time from which a gain is no longer stable, against the roots of the same loop."""

import numpy as np
import pytest
from broadcasting import assert_broadcasts
from machines import EFFICIENCY, PATH, PD_100, PDA_100, PDA_150, plant

from unikit.formulas import delay, latency, reflex
from unikit.formulas.reflex import Path


@pytest.mark.checks("independent", "latency.dead_time_budget")
@pytest.mark.parametrize(("person", "ratio", "gain"), [(PD_100, 1.5, 0.3), (PDA_150, 1.5, 0.3), (PDA_100, 2.0, 0.5), (PDA_100, 1.25, 0.6)])
@pytest.mark.parametrize("path", [PATH, Path(0.0, np.inf, 0.0), Path(0.0, 25.0, 0.005)])
def test_at_the_budget_a_root_lies_on_the_axis_and_a_little_more_is_unstable(person, ratio, gain, path):
    hold = EFFICIENCY / ratio
    budget = latency.dead_time_budget(plant(), person, path, hold, ratio, gain)

    def system(dead_time):
        return reflex.system_matrices(plant(), person, path._replace(dead_time=dead_time), hold, ratio, gain)

    assert 0 < budget < 0.5
    assert delay.rightmost_roots(*system(budget), count=1)[0].real == pytest.approx(0, abs=1e-8)
    assert [delay.root_count(*system(share * budget)) for share in (0.0, 0.5, 0.98, 1.02)] == [0, 0, 0, 2]


@pytest.mark.checks("limit", "latency.dead_time_budget")
def test_without_assist_no_dead_time_matters_and_outside_the_window_none_is_left():
    window = reflex.gain_window(plant(), PDA_100, PATH._replace(dead_time=0.0), 1.0, 1.0)
    gains = np.array([0.0, 0.5 * window.onset_gain, 0.999 * window.onset_gain, 1.001 * window.onset_gain])
    budget = latency.dead_time_budget(plant(), PDA_100, PATH, 1.0, 1.0, gains)
    assert budget[0] == np.inf and budget[3] == 0
    assert 0 < budget[2] < 1e-3 < budget[1]
    weak = latency.dead_time_budget(plant(), PD_100, PATH, EFFICIENCY / 1.5, 1.5, 0.05)  # below the toppling gain
    assert weak == 0


def test_it_broadcasts_and_refuses_what_cannot_be():
    assert_broadcasts(
        lambda hold, gain: latency.dead_time_budget(plant(), PDA_100, PATH, hold, 1.5, gain), hold=[0.6, 0.65, 0.7], gain=[0.0, 0.2, 0.45]
    )
    with pytest.raises(ValueError, match="assist_gain"):
        latency.dead_time_budget(plant(), PD_100, PATH, 0.65, 1.5, -0.1)
    with pytest.raises(ValueError, match="filter_corner"):
        latency.dead_time_budget(plant(), PD_100, Path(0.0, 0.0, 0.0), 0.65, 1.5, 0.1)
