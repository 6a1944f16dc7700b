"""The pictures of the bench: every reading is drawn where it is, the band is that of 95 %, and every text has room."""

import io
from functools import cache

import numpy as np
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg
from PIL import Image

from unikit.lab import style
from unikit.lab.answers import build
from unikit.lab.answers.bench import record
from unikit.lab.figures import PICTURES
from unikit.lab.picture import each_axes
from unikit.studies import motor_bench


@cache
def found():
    return motor_bench.study(build(), record())


@cache
def prediction():
    return motor_bench.predict(motor_bench.study(build(), record(), ("own_power_phase",)), "own_power_phase")[0]


CASES = [("bench", found), ("bench prediction", prediction)]


@pytest.mark.parametrize("narrow", [False, True], ids=["wide", "narrow"])
@pytest.mark.parametrize(("name", "result"), CASES)
def test_no_text_runs_out_of_the_picture(name, result, narrow):
    axes = PICTURES[name].draw(result(), narrow=narrow)
    figure = each_axes(axes)[0].figure
    FigureCanvasAgg(figure).draw()
    for one in each_axes(axes):
        for text in (*one.texts, one.title, one._left_title, one.xaxis.label, one.yaxis.label):
            if text.get_visible() and text.get_text().strip():
                box = text.get_window_extent()
                assert box.x0 > -2 and box.x1 < figure.bbox.width + 2, text.get_text()
                assert box.y0 > -2 and box.y1 < figure.bbox.height + 2, text.get_text()


@pytest.mark.parametrize("narrow", [False, True], ids=["wide", "narrow"])
def test_texts_of_the_runs_do_not_cross(narrow):
    axes = PICTURES["bench"].draw(found(), narrow=narrow)
    FigureCanvasAgg(axes["curves"].figure).draw()
    boxes = sorted((text.get_window_extent() for text in axes["curves"].texts), key=lambda box: box.x0)
    assert len(boxes) == len(found().runs)
    assert all(one.x1 < other.x0 + 1 for one, other in zip(boxes, boxes[1:], strict=False))


def test_each_run_has_its_readings_in_its_column():
    axes = PICTURES["bench"].draw(found())
    dots = [line for line in axes["left"].lines if line.get_marker() == "o"]
    assert len(dots) == len(found().runs)
    for column, (line, run) in enumerate(zip(dots, found().runs, strict=True)):
        assert line.get_ydata() == pytest.approx(run.standardised)
        assert column < line.get_xdata().min() and line.get_xdata().max() < column + 1
    drawn = [line for line in axes["curves"].lines if line.get_marker() == "o"]
    assert all(np.max(line.get_ydata()) == pytest.approx(1) for line in drawn)
    band = axes["left"].collections[0].get_paths()[0].get_extents()
    assert (band.y0, band.y1) == pytest.approx((-1.96, 1.96))


def test_what_lies_far_off_is_still_shown():
    far = found().runs[0]
    wide = motor_bench.RunFit(far.run, far.kind, far.quantity, far.over, far.at, far.measured, far.fitted, 9.0 * far.standardised)
    result = type("Result", (), {"runs": (wide,)})()
    axes = PICTURES["bench"].draw(result)
    assert axes["left"].get_ylim()[1] >= 9 * np.max(np.abs(far.standardised))


def test_the_prediction_shows_readings_against_its_interval():
    result = prediction()
    axes = PICTURES["bench prediction"].draw(result)
    low, high, dots = axes.lines[1:4]
    assert low.get_ydata() == pytest.approx(result.low - result.expected) and high.get_ydata() == pytest.approx(
        result.high - result.expected
    )
    assert dots.get_ydata() == pytest.approx(result.measured - result.expected)
    assert dots.get_xdata() == pytest.approx(result.at * 30 / np.pi)
    assert result.rows()[1].split()[1:] == [f"{one[0]:.3f}" for one in (result.measured, result.expected, result.low, result.high)]


def test_the_narrow_variant_fits_a_phone():
    width, height = Image.open(io.BytesIO(PICTURES["bench"].png(found(), narrow=True))).size
    assert width == 100 * style.NARROW_SIZE[0] and height > width
