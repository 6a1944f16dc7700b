"""The pictures of packs: every text has room, and what is drawn is what the study says."""

import numpy as np
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg

from unikit.inputs import replace
from unikit.lab import panels, style
from unikit.lab.answers import build, case
from unikit.lab.figures import PICTURES
from unikit.lab.picture import each_axes
from unikit.studies import pack

CASES = {
    "as it is": ("head_wind", {}, {}),
    "packs gain": ("long_descent", {}, {}),
    "cut off": ("head_wind", {"pack_temperature": "-10 °C", "gust": "9 m/s"}, {"packs.held_back": 0.0}),
    "empty": ("harbour_hill", {"state_of_charge": 0.1}, {}),
}


def drawn(picture, result, narrow):
    axes = PICTURES[picture].draw(result, narrow=narrow)
    FigureCanvasAgg(each_axes(axes)[0].figure).draw()
    return axes


def fits(axes):
    width, height = each_axes(axes)[0].figure.bbox.size
    for one in each_axes(axes):
        for text in one.findobj(lambda artist: hasattr(artist, "get_text")):
            if text.get_visible() and text.get_text().strip():
                box = text.get_window_extent()
                assert box.x0 > -2 and box.y0 > -2 and box.x1 < width + 2 and box.y1 < height + 2, text.get_text()


@pytest.mark.parametrize("narrow", [False, True], ids=["wide", "narrow"])
@pytest.mark.parametrize("name", CASES)
def test_no_text_runs_out_of_the_picture(name, narrow):
    asked, changes, parts = CASES[name]
    fits(drawn("pack", panels.scene("pack", replace(build(), parts), replace(case(asked), changes)), narrow))


@pytest.mark.parametrize("narrow", [False, True], ids=["wide", "narrow"])
def test_each_pack_has_its_line_and_its_name(narrow):
    unlike = replace(build(), {"packs.pack.rear.cell_resistance": "60 mohm"})
    shared = pack.discharge(unlike, case("head_wind"), power=300.0)
    axes = drawn("pack sharing", shared, narrow)
    fits(axes)
    lines = [line for line in axes.lines if len(line.get_xdata()) == len(shared.time)]
    for place, line in enumerate(lines):
        assert np.array_equal(line.get_ydata(), shared.pack_currents[:, place])
    assert len(lines) == 3 and {"left", "right", "rear"} <= {text.get_text() for text in axes.findobj(lambda one: hasattr(one, "get_text"))}


def test_the_cross_is_where_the_peak_is_cut_off_and_the_ride_ends_where_it_does():
    made = panels.scene("pack", build(), replace(case("head_wind"), {"pack_temperature": "-10 °C"}))
    lines = drawn("pack", made, False)["main"].lines
    (cross,) = [line for line in lines if line.get_marker() == "X"]
    assert cross.get_xdata()[0] == 100 * made.main.peak_cut_off and cross.get_ydata()[0] == made.main.peak_power
    assert cross.get_color() == style.VERMILION
    (ends,) = [line for line in lines if line.get_marker() == "o"]
    assert list(ends.get_xdata()) == pytest.approx([70.0, 100 * made.more.end_charge])
