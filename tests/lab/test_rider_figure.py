"""The picture of a rider's log: the interval is where the study has it, and every text has room."""

import io

import numpy as np
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg
from PIL import Image

from unikit.lab import style
from unikit.lab.answers.rider import found
from unikit.lab.figures import PICTURES
from unikit.lab.picture import each_axes

CASES = [("reflexive_rider", False), ("predictive_rider", True)]


@pytest.mark.parametrize("narrow", [False, True], ids=["wide", "narrow"])
@pytest.mark.parametrize(("name", "predictive"), CASES)
def test_no_text_runs_out_of_the_picture(name, predictive, narrow):
    axes = PICTURES["rider"].draw(found(name, predictive), narrow=narrow)
    figure = each_axes(axes)[0].figure
    FigureCanvasAgg(figure).draw()
    for one in each_axes(axes):
        for text in (*one.texts, one.title, one.xaxis.label, one.yaxis.label, *one.findobj(lambda artist: hasattr(artist, "get_text"))):
            if text.get_visible() and text.get_text().strip() and text not in (*one.get_xticklabels(), *one.get_yticklabels()):
                box = text.get_window_extent()
                assert box.x0 > -2 and box.x1 < figure.bbox.width + 2, text.get_text()
                assert box.y0 > -2 and box.y1 < figure.bbox.height + 2, text.get_text()


@pytest.mark.parametrize(("name", "predictive"), CASES)
def test_the_interval_and_every_moment_are_drawn_where_they_are(name, predictive):
    result = found(name, predictive)
    axes = PICTURES["rider"].draw(result)
    ends = sorted(line.get_xdata()[0] for line in axes["profile"].lines if len(line.get_xdata()) == 2 and np.ptp(line.get_xdata()) == 0)
    assert ends == pytest.approx([1e3 * result.delay_low, 1e3 * result.delay_high])
    profile = max(axes["profile"].lines, key=lambda line: len(line.get_xdata()))
    assert profile.get_xdata()[np.argmin(profile.get_ydata())] == pytest.approx(1e3 * result.delay, abs=1)
    dots = max(axes["scatter"].lines, key=lambda line: len(line.get_xdata()))
    left = np.std(dots.get_xdata() - dots.get_ydata())
    assert left == pytest.approx(result.remnant, rel=0.1)
    assert np.abs(dots.get_xdata()).max() <= axes["scatter"].get_xlim()[1]


def test_the_narrow_variant_fits_a_phone():
    width, height = Image.open(io.BytesIO(PICTURES["rider"].png(found("reflexive_rider"), narrow=True))).size
    assert width == 100 * style.NARROW_SIZE[0] and height > width
