"""The pictures of the weights: every reading is drawn where it is, up and down are told apart, and every text has room."""

import io
from functools import cache

import numpy as np
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg
from PIL import Image
from weighings import WARM, upwards

from unikit.lab import style
from unikit.lab.answers.calibration import record
from unikit.lab.figures import PICTURES
from unikit.lab.picture import each_axes
from unikit.studies import calibration


@cache
def results():
    return {
        "all": calibration.study(record()),
        "cold": calibration.study(record().without(*WARM)),
        "up": calibration.study(upwards(record())),
        "forward": calibration.predict(calibration.study(record(), ("warm_forward_2",)), "warm_forward_2"),
        "backward": calibration.predict(calibration.study(record(), ("cold_backward_1",)), "cold_backward_1"),
    }


CASES = [("calibration", name) for name in ("all", "cold", "up")] + [("calibration prediction", name) for name in ("forward", "backward")]


@pytest.mark.parametrize("narrow", [False, True], ids=["wide", "narrow"])
@pytest.mark.parametrize(("picture", "name"), CASES)
def test_no_text_runs_out_of_the_picture(picture, name, narrow):
    axes = PICTURES[picture].draw(results()[name], narrow=narrow)
    figure = each_axes(axes)[0].figure
    FigureCanvasAgg(figure).draw()
    for one in each_axes(axes):
        for text in (*one.texts, one.title, one._left_title, one.xaxis.label, one.yaxis.label):
            if text.get_visible() and text.get_text().strip():
                box = text.get_window_extent()
                assert box.x0 > -2 and box.x1 < figure.bbox.width + 2, text.get_text()
                assert box.y0 > -2 and box.y1 < figure.bbox.height + 2, text.get_text()


@pytest.mark.parametrize("narrow", [False, True], ids=["wide", "narrow"])
@pytest.mark.parametrize(("picture", "name"), CASES)
def test_texts_do_not_cross(picture, name, narrow):
    axes = PICTURES[picture].draw(results()[name], narrow=narrow)
    FigureCanvasAgg(each_axes(axes)[0].figure).draw()
    for one in each_axes(axes):
        boxes = [text.get_window_extent() for text in one.texts if text.get_text().strip()]
        for place, box in enumerate(boxes):
            assert not any(box.overlaps(other) for other in boxes[place + 1 :])


def drawn(axes, marker):
    return np.concatenate([line.get_xydata() for line in axes.lines if line.get_marker() == marker])


def test_every_reading_is_drawn_in_its_axes_and_way():
    result = results()["all"]
    axes = PICTURES["calibration"].draw(result)
    for place, cold in (("cold", True), ("warm", False)):
        series = [one for one in result.series if (one.temperature < 303) == cold]
        for marker, down in (("^", False), ("v", True)):
            wanted = np.concatenate([np.column_stack([one.torque, one.deviation])[one.unloading == down] for one in series])
            assert drawn(axes[place], marker) == pytest.approx(wanted)
        low, high = axes[place].get_ylim()
        assert all(low < value < high for one in series for value in one.deviation)
    assert axes["cold"].get_title(loc="left") == "Cold: 17 to 18 °C"


def test_the_loop_turns_over_with_the_side():
    result = results()["all"]
    lines = [
        line for line in PICTURES["calibration"].draw(result)["cold"].lines if len(line.get_xdata()) == 9 and line.get_marker() == "None"
    ]
    middles = [np.interp(sign * 25.0, line.get_xdata(), line.get_ydata()) for line, sign in zip(lines, (1, -1, 1, -1), strict=True)]
    half = result.hysteresis * result.full_scale
    assert middles == pytest.approx([-half, half, half, -half], rel=0.02)


def test_one_temperature_says_so():
    axes = PICTURES["calibration"].draw(results()["cold"])
    assert axes["warm"].get_title(loc="left") == "No other temperature"
    assert [text.get_text() for text in axes["warm"].texts] == ["drift is not identified"]


def test_weights_that_only_go_up_have_one_way():
    axes = PICTURES["calibration"].draw(results()["up"])
    assert not any("taken off" in text.get_text() for text in axes["cold"].texts)


def test_a_wild_reading_is_drawn_large():
    result = results()["all"]
    first = result.series[0]
    wild = np.zeros(17)
    wild[4] = 6.0
    marked = calibration.Series(**(vars(first) | {"standardised": wild}))
    other = type("Result", (), {"series": (marked, *result.series[1:]), "full_scale": result.full_scale})()
    large = [line for line in PICTURES["calibration"].draw(other)["cold"].lines if line.get_markersize() == 9 and line.get_marker() == "^"]
    assert len(large) == 1 and large[0].get_xdata() == pytest.approx([first.torque[4]])


def test_the_prediction_shows_readings_against_its_interval():
    result = results()["backward"]
    axes = PICTURES["calibration prediction"].draw(result)
    assert axes.get_xlim()[1] == 0
    both = np.concatenate([drawn(axes, "^"), drawn(axes, "v")])
    assert both[:, 1] == pytest.approx(result.measured - result.expected)
    ends = [line for line in axes.lines if len(line.get_xdata()) == 9 and line.get_marker() == "None"]
    order = np.argsort(result.torque[:9])
    assert ends[0].get_ydata() == pytest.approx((result.low - result.expected)[:9][order])


def test_the_narrow_variant_fits_a_phone():
    width, height = Image.open(io.BytesIO(PICTURES["calibration"].png(results()["all"], narrow=True))).size
    assert width == 100 * style.NARROW_SIZE[0] and height > width
