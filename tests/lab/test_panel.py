"""Panels, driven from the kernel's side: every control, errors, files, access, and no leaks."""

import base64
import re
import warnings

import ipywidgets as W
import numpy as np
import pytest
from ipywidgets.widgets.widget import _instances
from lab import demo

from unikit import units
from unikit.formulas.registry import OutsideRangeWarning
from unikit.lab.controls import Choice, Control
from unikit.lab.panel import Panel
from unikit.lab.picture import Picture


@pytest.fixture
def panel():
    return Panel(demo.study, demo.picture(), demo.CONTROLS, demo.START, title="Swing & fall")


def drive(panel, name, value):
    """As a reader does: through the box, in the unit that is shown."""
    panel.rows[name].box.value = value


@pytest.mark.parametrize("control", demo.CONTROLS, ids=lambda one: one.name)
def test_every_control_at_its_ends_and_start(panel, control):
    stops = control.values if isinstance(control, Choice) else [control.low, control.high, control.low]
    for stop in stops:
        drive(panel, control.name, stop)
        expected = control.si(stop) if isinstance(control, Control) else stop
        assert panel.values()[control.name] == expected
        assert panel.error is None
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", OutsideRangeWarning)
            direct = demo.study(**panel.values())
        assert np.array_equal(panel.result.values, direct.values)
        assert f">{direct.summary()['Rate']}</td>" in panel.numbers.value


def test_random_settings_show_the_same_as_a_full_drawing(panel):
    random = np.random.default_rng(7)
    for _ in range(12):
        rate, height, share = random.uniform(2, 14), random.uniform(0.2, 1.4), random.uniform(0, 0.8)
        panel.set(rate=rate, height=height, share=share, side=str(random.choice(["left", "right"])))
        assert panel.values()["rate"] == pytest.approx(rate, rel=5e-7)
        assert panel.image.value == demo.picture().png(demo.study(**panel.values()))


def test_set_reads_texts_draws_once_and_reset_restores(panel):
    calls = []
    study, panel.study = panel.study, lambda **values: calls.append(values) or study(**values)
    start, picture = panel.values(), panel.image.value
    panel.set(rate="90 rpm", height="500 mm", share="20 %", side="right")
    assert calls == [{"rate": units.parse("90 rpm", "rotation"), "height": 0.5, "share": 0.2, "side": "right"}]
    assert panel.image.value != picture
    panel.reset.click()
    assert len(calls) == 2 and panel.values() == start and panel.image.value == picture


def test_picture_comes_before_the_numbers(panel):
    order = []
    panel.image.observe(lambda _: order.append("picture"), "value")
    panel.numbers.observe(lambda _: order.append("numbers"), "value")
    drive(panel, "rate", 100)
    assert order == ["picture", "numbers"]


def test_slider_and_box_follow_each_other_and_a_typed_value_is_not_rounded(panel):
    row = panel.rows["rate"]
    row.slider.value = 105.0
    assert row.box.value == 105.0
    row.box.value = 62.3
    assert row.slider.value == 62.3
    row.slider.value = 60.0  # the page's rounding to the step comes back
    assert row.box.value == 62.3
    row.slider.value = 65.0
    assert row.box.value == 65.0


def test_impossible_values_show_one_sentence_and_keep_the_last_picture(panel):
    panel.set(rate=8.0)
    picture, numbers = panel.image.value, panel.numbers.value
    panel.set(rate="150 rpm", share=1.0)
    assert panel.alert.value.startswith('<p role="alert">Rate and share are too great together: &lt;nothing&gt; swings so.</p>')
    assert "last values that worked" in panel.alert.value
    assert isinstance(panel.error, ValueError)
    assert (panel.image.value, panel.numbers.value) == (picture, numbers)
    assert "unikit-stale" in panel.image._dom_classes and "unikit-stale" in panel.numbers._dom_classes
    with pytest.raises(ValueError, match="too great together"):
        panel.result  # noqa: B018 - reading it must not give the old result
    panel.reset.click()
    assert panel.error is None and panel.alert.value == ""
    assert "unikit-stale" not in panel.image._dom_classes


def test_a_panel_that_cannot_start_says_so_without_a_broken_picture():
    panel = Panel(demo.study, demo.picture(), demo.CONTROLS, {**demo.START, "rate": "150 rpm", "share": 1.0})
    assert 'role="alert"' in panel.alert.value and panel.image.layout.display == "none"
    panel.set(share=0.5)
    assert panel.image.value and panel.image.layout.display is None


def test_a_fault_is_told_apart_from_an_impossible_value(panel):
    panel.study = lambda **values: 1 / 0
    panel.redraw()
    assert "The panel has a fault: ZeroDivisionError: division by zero." in panel.alert.value
    assert isinstance(panel.error, ZeroDivisionError)


def test_a_picture_that_fails_recovers():
    broken = []

    def marks(axes, result):
        if broken:
            raise RuntimeError("ink")
        demo.marks(axes, result)

    panel = Panel(demo.study, Picture(demo.frame, marks), demo.CONTROLS, demo.START)
    picture = panel.image.value
    broken.append(True)
    panel.set(rate=3.0)
    assert "The picture has a fault: RuntimeError: ink." in panel.alert.value
    broken.clear()
    panel.reset.click()
    assert panel.image.value == picture


def test_a_correlation_outside_its_range_is_noted_and_other_warnings_are_not_swallowed(panel):
    panel.set(height=1.9)
    assert 'role="status">Note: height 1.9 is outside 0 to 1.5, the range of the demo.' in panel.alert.value
    assert panel.error is None
    panel.set(height=1.0)
    assert panel.alert.value == ""
    panel.study = lambda **values: warnings.warn("old", FutureWarning, stacklevel=2) or demo.study(**values)
    with pytest.warns(FutureWarning, match="old"):
        panel.redraw()


def test_values_outside_the_range_are_refused_by_set_and_a_start_widens_it(panel):
    before = panel.values()
    with pytest.raises(ValueError, match=r"Rate must be from 10 to 160 rpm, got 900"):
        panel.set(height=0.5, rate="900 rpm")
    with pytest.raises(ValueError, match="no control 'speed'; it has rate, height"):
        panel.set(speed=1.0)
    with pytest.raises(ValueError, match="Side must be one of 'left', 'right', got 'up'"):
        panel.set(side="up")
    assert panel.values() == before
    wide = Panel(demo.study, demo.picture(), demo.CONTROLS, {**demo.START, "height": 2.32, "rate": "8 rpm"})
    assert wide.rows["height"].box.max == 2350 and wide.rows["rate"].box.min == 5
    assert wide.values()["height"] == pytest.approx(2.32)
    assert "100 to 2350" in wide.rows["height"].widget.children[1].value


def test_controls_refuse_a_unit_of_another_kind_and_an_empty_range():
    with pytest.raises(units.UnitError, match="unit of torque"):
        Control("rate", "Rate", "N*m", 1, 2, 0.1, "rotation")
    with pytest.raises(ValueError, match="needs low < high"):
        Control("rate", "Rate", "rpm", 2, 2, 0.1, "rotation")
    with pytest.raises(ValueError, match="name the same things once: rate, height, share, side against rate"):
        Panel(demo.study, demo.picture(), demo.CONTROLS, {"rate": 1.0})


def test_captions_and_ranges_are_printed_as_one_writes_them():
    control = Control("torque", "Torque", "N*m", -15, 20, 1, "torque")
    assert (control.caption, control.span) == ("Torque / N·m", "−15 to 20")
    assert Control("r", "Resistance", "mohm", 1, 20, 1, "resistance").caption == "Resistance / mΩ"


def test_hundred_updates_leave_the_number_of_widgets_and_artists(panel):
    drive(panel, "rate", 61)
    widgets = len(_instances)
    artists = len(panel._live[False].axes.get_children())
    for i in range(100):
        drive(panel, "rate", 20 + i)
        if i % 25 == 0:
            panel.set(rate="150 rpm", share=1.0)
            panel.reset.click()
    assert len(_instances) == widgets
    assert len(panel._live[False].axes.get_children()) == artists


def tree(widget):
    yield widget
    for child in getattr(widget, "children", ()):
        yield from tree(child)


def test_every_control_has_a_name_and_no_hover_text_says_null():
    panel = Panel(demo.study, demo.picture(), demo.CONTROLS, demo.START, save=lambda values, name: None)
    named = [one for one in tree(panel) if isinstance(one, (W.BoundedFloatText, W.Dropdown, W.Text, W.Button, W.ToggleButton))]
    assert len(named) == 4 + 3 + 2
    for one in named:
        assert one.description and one.tooltip
    assert panel.rows["rate"].box.description == "Rate / rpm"
    for one in tree(panel):
        if isinstance(one, (W.HTML, W.FloatSlider, W.Image)):
            assert one.tooltip is not None
    assert panel.image.tooltip == "Swing over time, dying away"
    assert not [one for one in tree(panel) if isinstance(one, W.Output)]


def test_numbers_are_a_table_that_is_announced_and_escaped(panel):
    assert 'aria-live="polite"' in panel.numbers.value and '<th scope="row">Rate</th>' in panel.numbers.value
    assert 'data-key="Greatest &lt;swing&gt;"' in panel.numbers.value and "<swing>" not in panel.numbers.value


def test_files_are_made_on_request_and_dropped_at_the_next_change(panel):
    assert panel.files.value == ""
    panel.prepare.click()
    links = dict(re.findall(r'download="([^"]+)" href="data:[^;]+;base64,([^"]+)"', panel.files.value))
    assert list(links) == ["swing-fall.csv", "swing-fall.png", "swing-fall.svg"]
    assert base64.b64decode(links["swing-fall.csv"]).decode().startswith("time / s,swing / m\n0.0,1.0\n")
    assert base64.b64decode(links["swing-fall.png"]).startswith(b"\x89PNG")
    drive(panel, "rate", 70)
    assert panel.files.value == ""
    panel.set(rate="150 rpm", share=1.0)
    panel.prepare.click()
    assert panel.files.value == '<p role="alert">There is no result to download at these values.</p>'


def test_saving_hands_over_the_values_and_tells_what_went_wrong(tmp_path):
    kept = {}

    def save(values, name):
        with open(tmp_path / name, "x"):
            kept[name] = values

    panel = Panel(demo.study, demo.picture(), demo.CONTROLS, demo.START, save=save)
    panel.set(rate=7.0)
    panel.name.value = " mine <1> "
    panel.keep.click()
    assert kept == {"mine <1>": panel.values()}
    assert panel.kept.value == '<p role="status">Saved as mine &lt;1&gt;.</p>'
    panel.keep.click()
    assert panel.kept.value == '<p role="alert">Mine &lt;1&gt; exists already: choose another name.</p>'
    panel.save_as("  ")
    assert panel.kept.value == '<p role="alert">Write a name for the build first.</p>'
    panel.save_as("no/such/place")
    assert 'role="alert"' in panel.kept.value and "No such file" in panel.kept.value


def test_narrow_picture_and_large_type(panel):
    from io import BytesIO

    from PIL import Image

    assert Image.open(BytesIO(panel.image.value)).size == (860, 420)
    panel.narrow.value = True
    assert Image.open(BytesIO(panel.image.value)).size == (350, 330)
    large = Panel(demo.study, demo.picture(), demo.CONTROLS, demo.START, large=True)
    assert "unikit-large" in large._dom_classes and large.image.value != demo.picture().png(large.result)


def test_a_stored_notebook_says_what_stands_here(panel):
    assert panel._repr_mimebundle_()["text/plain"] == "Panel: Swing & fall (run the notebook to use it)"
