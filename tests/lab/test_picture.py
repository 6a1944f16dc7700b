"""Pictures: a fast redraw shows what a full drawing shows, and leaves nothing behind."""

import io

import matplotlib
import numpy as np
import pytest
from lab import demo
from PIL import Image

from unikit.lab import style
from unikit.lab.picture import Picture, each_axes


def pixels(png):
    return np.asarray(Image.open(io.BytesIO(png))).astype(int)


def results():
    random = np.random.default_rng(3)
    return [demo.study(random.uniform(1, 14), random.uniform(0.2, 1.5), random.uniform(0, 1), side) for side in ("left", "right", "left")]


@pytest.mark.parametrize("make", [demo.picture, demo.pair])
@pytest.mark.parametrize("options", [{}, {"narrow": True}, {"scale": 1.35}, {"dpi": 150}], ids=str)
def test_live_equals_full_drawing_to_the_pixel(make, options):
    live = make().live(**options)
    shown = [pixels(live.png(result)) for result in results()]
    full = [pixels(make().png(result, **options)) for result in results()]
    for one, other in zip(shown, full, strict=True):
        assert np.array_equal(one, other)
    assert not np.array_equal(shown[0], shown[1])


def test_hundred_redraws_leave_no_artist_and_the_same_pixels():
    live, (first, *rest) = demo.pair().live(), results()
    start = live.png(first)
    counts = [len(axes.get_children()) for axes in each_axes(live.axes)]
    for i in range(100):
        live.png(rest[i % 2])
    assert [len(axes.get_children()) for axes in each_axes(live.axes)] == counts
    assert live.png(first) == start


def test_marks_that_fail_half_way_leave_nothing():
    def marks(axes, result):
        axes.plot([0, 1], [0, 1])
        if result.rate > 5:
            raise ValueError("no picture for this")

    live = Picture(demo.frame, marks).live()
    slow, fast = demo.study(2.0, 1.0, 0.1, "left"), demo.study(9.0, 1.0, 0.1, "left")
    start, count = live.png(slow), len(live.axes.get_children())
    with pytest.raises(ValueError, match="no picture for this"):
        live.png(fast)
    assert len(live.axes.get_children()) == count
    assert live.png(slow) == start


def test_marks_cannot_move_the_limits():
    axes = Picture(demo.frame, lambda axes, result: axes.plot([0, 500], [-90, 90])).draw(results()[0])
    assert axes.get_xlim() == (0, 10) and axes.get_ylim() == (-2, 2)


def test_drawing_changes_no_global_setting_and_uses_given_axes():
    before = dict(matplotlib.rcParams)
    _, axes = style.new_figure()
    assert demo.picture().draw(results()[0], axes) is axes
    demo.picture().live().png(results()[0])
    assert dict(matplotlib.rcParams) == before


def test_notebook_image_carries_the_text():
    data, metadata = demo.picture().image(results()[0])._repr_mimebundle_()
    assert metadata["image/png"]["alt"] == "Swing over time, dying away"


@pytest.mark.parametrize("mosaic", [None, [["a", "b"]], [["a"], ["b"]], [["a", "b"], ["c", "d"]]])
def test_margins_are_kept_in_inches(mosaic):
    figure, axes = style.new_figure((8.6, 4.2), mosaic)
    boxes = np.array([one.get_position().extents for one in each_axes(axes)]) * [8.6, 4.2, 8.6, 4.2]
    low, high = boxes.min(axis=0), boxes.max(axis=0)
    assert low[:2] == pytest.approx([style.MARGINS["left"], style.MARGINS["bottom"]])
    assert [8.6 - high[2], 4.2 - high[3]] == pytest.approx([style.MARGINS["right"], style.MARGINS["top"]])
    if mosaic and len(mosaic[0]) == 2:
        assert boxes[1, 0] - boxes[0, 2] == pytest.approx(style.MARGINS["columns"])


def test_a_label_goes_with_its_curve_and_is_hidden_where_the_curve_is_out_of_sight():
    _, axes = style.new_figure()
    axes.set(xlim=(0, 10), ylim=(0, 1))
    x = [0.0, 5.0, 10.0]
    seen = style.label_curve(axes, x, [0.5, 0.2, 0.9], "seen", at=4.0, shift=(0, 7))
    axes.figure.canvas.draw()
    place, box = axes.transData.transform((5.0, 0.2)), seen.get_window_extent()
    assert (box.x0 + box.x1) / 2 == pytest.approx(place[0], abs=1) and 4 < box.y0 - place[1] < 14
    assert seen.get_visible() and not style.label_curve(axes, x, [0.5, 7.0, 0.9], "gone", at=5.0).get_visible()


def test_end_labels_do_not_collide():
    _, axes = style.new_figure(margins={"right": 1.4})
    axes.set(xlim=(0, 1), ylim=(0, 1))
    ends = [0.5, 0.501, 0.499, 0.999, 1.0, 5.0]
    texts = style.label_ends(axes, [([0, 1], [0, end], str(end), style.BLUE) for end in ends])
    axes.figure.canvas.draw()
    boxes = sorted((text.get_window_extent() for text in texts), key=lambda box: box.y0)
    for lower, upper in zip(boxes, boxes[1:], strict=False):
        assert upper.y0 >= lower.y1 - 1


def contrast(color):
    from matplotlib.colors import to_rgb

    def luminance(name):
        linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in to_rgb(name)]
        return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]

    return (luminance(style.GROUND) + 0.05) / (luminance(color) + 0.05)


@pytest.mark.parametrize("color", [one["color"] for one in style.LINES])
def test_type_can_be_read_on_the_ground(color):
    assert contrast(style.readable(color)) >= 4.5


def test_no_two_lines_share_colour_or_style():
    assert len({one["color"] for one in style.LINES}) == len({str(one["linestyle"]) for one in style.LINES}) == len(style.LINES)
