"""The picture of a heating run: readings, network and band where the study has them, and every text has room."""

import io
from functools import cache

import numpy as np
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg
from PIL import Image

from unikit.lab import style
from unikit.lab.answers import build
from unikit.lab.answers.heat_bench import found, run
from unikit.lab.figures import PICTURES
from unikit.lab.picture import each_axes
from unikit.studies import heat_bench


@cache
def results():
    whole = found("warmed_at_20A")
    cooling = heat_bench.study(build(), run("warmed_at_20A"), until=4150.0)
    return {"whole": whole, "cooling": cooling, "other": heat_bench.study(build(), run("warmed_at_14A"), until=570.0, before=whole)}


@pytest.mark.parametrize("narrow", [False, True], ids=["wide", "narrow"])
@pytest.mark.parametrize("name", ["whole", "cooling", "other"])
def test_no_text_runs_out_of_the_picture(name, narrow):
    axes = PICTURES["heat_bench"].draw(results()[name], narrow=narrow)
    figure = each_axes(axes)[0].figure
    FigureCanvasAgg(figure).draw()
    for one in each_axes(axes):
        for text in (*one.texts, one.title, one.xaxis.label, one.yaxis.label, *one.findobj(lambda artist: hasattr(artist, "get_text"))):
            if text.get_visible() and text.get_text().strip() and text not in (*one.get_xticklabels(), *one.get_yticklabels()):
                box = text.get_window_extent()
                assert box.x0 > -2 and box.x1 < figure.bbox.width + 2, text.get_text()
                assert box.y0 > -2 and box.y1 < figure.bbox.height + 2, text.get_text()


@pytest.mark.parametrize("name", ["whole", "cooling", "other"])
def test_curves_and_limits_are_those_of_the_study(name):
    result = results()[name]
    axes = PICTURES["heat_bench"].draw(result)
    curves = [line for line in axes["course"].lines if len(line.get_xdata()) == len(result.time)]
    tops = sorted(float(line.get_ydata().max()) for line in curves)
    assert tops == pytest.approx(sorted([result.winding_predicted.max() - 273.15, result.housing_predicted.max() - 273.15]))
    low, high = axes["course"].get_ylim()
    assert low < np.nanmin(result.winding) - 273.15 and high > np.nanmax(result.winding) - 273.15
    half = axes["left"].get_ylim()[1]
    assert half > np.nanmax(np.abs(result.winding - result.winding_predicted))
    begins = [line.get_xdata()[0] for line in axes["left"].lines if len(line.get_xdata()) == 2 and np.ptp(line.get_xdata()) == 0]
    if name == "whole":
        assert begins == []
    else:
        assert begins == [pytest.approx(result.time[~result.used][0] / 60)]


def test_the_share_in_the_band_is_written():
    shown = {text.get_text() for text in PICTURES["heat_bench"].draw(results()["cooling"])["left"].texts}
    assert f"{100 * results()['cooling'].held():.0f} % of what was\npredicted is in the band" in shown


def test_the_narrow_variant_fits_a_phone():
    width, height = Image.open(io.BytesIO(PICTURES["heat_bench"].png(results()["whole"], narrow=True))).size
    assert width == 100 * style.NARROW_SIZE[0] and height > width
