"""The picture of a route: every fault is marked where it is, the chosen smoothing lies on the curve, every text has room."""

import io

import numpy as np
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg
from PIL import Image

from unikit.inputs import read_route
from unikit.lab import style
from unikit.lab.figures import PICTURES
from unikit.lab.picture import each_axes
from unikit.studies import routes, routes_made

NAMES = ("over_the_hill.gpx", "harbour_round.toml")


@pytest.fixture(scope="module")
def found(root):
    return {name: routes.study(read_route(root / "data/routes" / name)) for name in NAMES}


@pytest.mark.parametrize("narrow", [False, True], ids=["wide", "narrow"])
@pytest.mark.parametrize("name", NAMES)
def test_no_text_runs_out_of_the_picture_or_over_another(found, name, narrow):
    axes = PICTURES["routes"].draw(found[name], narrow=narrow)
    figure = each_axes(axes)[0].figure
    FigureCanvasAgg(figure).draw()
    for one in each_axes(axes):
        texts = [text for text in (*one.texts, one.title, one.xaxis.label, one.yaxis.label) if text.get_text().strip()]
        boxes = [text.get_window_extent() for text in texts]
        for place, box in enumerate(boxes):
            assert box.x0 > -2 and box.x1 < figure.bbox.width + 2 and box.y0 > -2 and box.y1 < figure.bbox.height + 2, texts[
                place
            ].get_text()
            for other in boxes[:place]:
                assert not box.padded(-2).overlaps(other.padded(-2)), texts[place].get_text()


def test_faults_are_marked_where_they_are(found):
    one = found["over_the_hill.gpx"]
    axes, repaired = PICTURES["routes"].draw(one), one.repaired
    crosses = next(line for line in axes["profile"].lines if line.get_marker() == "x")
    wanted = repaired.distance[repaired.spikes] / 1000
    assert crosses.get_xdata() == pytest.approx(wanted * one.length / repaired.distance[-1])
    hatched = [patch for patch in axes["profile"].patches if patch.get_hatch()]
    ends = sorted((patch.get_xy()[:, 0].min(), patch.get_xy()[:, 0].max()) for patch in hatched)
    stretches = ((one[0] / 1000, sum(one) / 1000) for one in (routes_made.MISSING, routes_made.HUNG))
    for drawn, made in zip(ends, stretches, strict=True):
        assert drawn == pytest.approx(made, abs=0.03)  # the position wanders
    words = " ".join(text.get_text() for text in axes["profile"].texts)
    assert "spikes: 14" in words and "hung: 59" in words and "missing: 26" in words and "drift taken out: +8.4 m" in words


def test_the_chosen_smoothing_lies_on_the_curve(found):
    one = found["over_the_hill.gpx"]
    axes = PICTURES["routes"].draw(one)["climb"]
    square = next(line for line in axes.lines if line.get_marker() == "s")
    assert (square.get_xdata()[0], square.get_ydata()[0]) == (30, one.climb)
    curve = max(axes.lines, key=lambda line: len(line.get_xdata()))
    assert np.interp(30, curve.get_xdata(), curve.get_ydata()) == pytest.approx(one.climb, abs=0.5)
    assert curve.get_ydata().max() < axes.get_ylim()[1]


def test_a_route_that_nobody_recorded_has_nothing_to_mend(found):
    axes = PICTURES["routes"].draw(found["harbour_round.toml"])
    words = " ".join(text.get_text() for text in axes["profile"].texts)
    assert "nothing to mend" in words and "recorded" not in words and "steepest 100 m: 9.0 %" in words


def test_the_narrow_variant_fits_a_phone(found):
    width, height = Image.open(io.BytesIO(PICTURES["routes"].png(found["over_the_hill.gpx"], narrow=True))).size
    assert width == 100 * style.NARROW_SIZE[0] and height > width
