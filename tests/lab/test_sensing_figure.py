"""The picture of the sensing chain: curves and levels where the study has them, and what is not there is not drawn."""

import numpy as np
import pytest

from unikit.inputs import load_build, load_case, replace
from unikit.lab import panels
from unikit.lab.figures import PICTURES

BUILD, HILL = load_build("data/builds/harbour_commuter.toml"), load_case("data/cases/harbour_hill.toml")


def drawn(narrow=False, **chain):
    scene = panels.scene("sensing", replace(BUILD, {f"sensor.chain.{name}": value for name, value in chain.items()}), HILL)
    return scene.main, PICTURES["sensing"].draw(scene, narrow=narrow)


def said(axes):
    return [artist.get_text() for artist in axes.findobj(lambda artist: hasattr(artist, "get_text"))]


@pytest.mark.parametrize("narrow", [False, True])
def test_what_ends_the_answer_and_the_drift_are_named(narrow):
    _, axes = drawn(narrow)
    words = said(axes["main"])
    assert {"driving: torque cap", "back: controller input", "nobody pushed this", "trim step", "0.1° of lean"} <= set(words)
    assert "40.9 N·m\ngive 13.9 N·m" in words
    assert len(axes["main"].patches) == 1  # the area of the drift


def test_the_area_of_the_drift_reaches_up_to_the_phantom_torque():
    found, axes = drawn(zero_drift="0.2 N*m/K")
    (area,) = axes["main"].patches
    assert area.get_xy()[:, 1].max() == pytest.approx(found.phantom)


def test_without_a_stated_drift_nothing_claims_it():
    found, axes = drawn(zero_drift=None, dead_band=None)
    assert np.isnan(found.phantom) and not axes["main"].patches
    assert not {"nobody pushed this", "dead band "} & set(said(axes["main"]))


def test_the_curves_are_the_studys_and_a_coarse_converter_makes_stairs():
    found, axes = drawn(dead_band=None, converter_bits=8)
    curves = [line for line in axes["main"].lines if len(line.get_xdata()) == len(found.push)]
    assert any(np.array_equal(curve.get_ydata(), np.maximum(found.driving, curve.get_ydata().min())) for curve in curves)
    small = found.driving[(found.push > 0.6 * found.resolution) & (found.push < 6 * found.resolution)]
    assert len(np.unique(np.round(small, 9))) == 6


def test_bars_pass_the_line_where_the_hardest_push_is_cut_off():
    found, axes = drawn(amplifier_gain=600)
    left, back = (collection.get_paths() for collection in axes["used"].collections)
    widths = [100 * found.peak / found.range, 100 * found.peak_back / found.range_back]
    assert [paths[3].vertices[:, 0].max() for paths in (left, back)] == pytest.approx(widths)
    assert min(widths) > 100


def test_an_element_of_unknown_strength_is_said_to_be_so():
    _, axes = drawn(element_yield=None, element_endurance=None)
    assert "unknown" in said(axes["used"]) and "unknown" not in said(drawn()[1]["used"])
