"""The topic pictures: on given axes, in both shapes, as files, and without anything left behind."""

import dataclasses
import io
import sys
import warnings

import numpy as np
import pytest
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from PIL import Image

from unikit.inputs import load_build, load_case, replace
from unikit.lab import panels, report, style
from unikit.lab.figures import PICTURES, TOPICS, pen, side, start
from unikit.lab.lettering import Lettering
from unikit.lab.picture import each_axes
from unikit.studies import machine

BUILDS = ("harbour_commuter", "classroom_demonstrator")


def scene(root, topic, build="harbour_commuter", case="harbour_hill", changes=None, asked=None):
    made = load_build(root / f"data/builds/{build}.toml"), load_case(root / f"data/cases/{case}.toml")
    return panels.scene(topic, replace(made[0], changes or {}), replace(made[1], asked or {}))


def pixels(png):
    return np.asarray(Image.open(io.BytesIO(bytes(png)))).astype(int)


@pytest.mark.parametrize("topic", TOPICS)
def test_draws_on_given_axes_and_returns_them_without_pyplot(root, topic):
    sys.modules.pop("matplotlib.pyplot", None)
    picture = PICTURES[topic]
    _, axes = picture.new_figure()
    assert picture.draw(scene(root, topic), axes) is axes
    assert set(axes) == {name for row in picture.mosaic for name in row}
    assert "matplotlib.pyplot" not in sys.modules
    assert picture.text and picture.text[0].isupper()


@pytest.mark.parametrize("topic", TOPICS)
def test_live_redraws_equal_full_drawings_and_leave_nothing(root, topic):
    first, second = scene(root, topic), scene(root, topic, changes={"gears.gear.long.ratio": 1.5}, asked={"slope": 0.03})
    second = second.held(TOPICS[topic], first)
    second = dataclasses.replace(second, stage=first.stage, span=first.span)
    live, picture = PICTURES[topic].live(), PICTURES[topic]
    shown = [pixels(live.png(one)) for one in (first, second, first)]
    counts = [len(axes.get_children()) for axes in each_axes(live.axes)]
    for _ in range(10):
        live.png(second)
    assert [len(axes.get_children()) for axes in each_axes(live.axes)] == counts
    assert np.array_equal(shown[0], shown[2]) and not np.array_equal(shown[0], shown[1])
    assert np.array_equal(shown[1], pixels(picture.png(second)))


@pytest.mark.parametrize("topic", TOPICS)
def test_another_span_makes_another_frame_and_comes_back(root, topic):
    one, other = scene(root, topic), scene(root, topic, "classroom_demonstrator")
    live = PICTURES[topic].live()
    start = bytes(live.png(one))
    assert bytes(live.png(other)) == bytes(PICTURES[topic].png(other))
    assert bytes(live.png(one)) == start == bytes(PICTURES[topic].png(one))


def inside(axes, margin=2.0):
    """The texts of a picture that end outside of it."""
    figure = each_axes(axes)[0].figure
    FigureCanvasAgg(figure).draw()  # places the labels of the axes
    width, height = figure.bbox.width, figure.bbox.height
    texts = [text for one in each_axes(axes) for text in one.findobj(lambda artist: hasattr(artist, "get_text"))]
    found = []
    for text in texts:
        if text.get_visible() and text.get_text().strip():
            box = text.get_window_extent()
            if box.x0 < -margin or box.x1 > width + margin or box.y0 < -margin or box.y1 > height + margin:
                found.append((text.get_text(), box.x0, box.x1 - width))
    return found


@pytest.mark.parametrize("narrow", [False, True], ids=["wide", "narrow"])
@pytest.mark.parametrize("build", BUILDS)
@pytest.mark.parametrize("topic", TOPICS)
def test_no_text_runs_out_of_the_picture(root, topic, build, narrow):
    for case in ("harbour_hill", "flat_cruise", "head_wind", "long_descent"):
        one = scene(root, topic, build, case)
        axes = PICTURES[topic].draw(one, narrow=narrow)
        # an axis keeps labels of ticks beyond its limits, which are not drawn
        outside = [text for text, *_ in inside(axes) if text not in _ticks(axes)]
        assert outside == [], (case, outside)


def _ticks(axes):
    return {label.get_text() for one in each_axes(axes) for label in (*one.get_xticklabels(), *one.get_yticklabels())}


@pytest.mark.parametrize("topic", TOPICS)
def test_narrow_variant_fits_a_phone(root, topic):
    width, height = Image.open(io.BytesIO(PICTURES[topic].png(scene(root, topic), narrow=True))).size
    assert width == 100 * style.NARROW_SIZE[0] and height > width


@pytest.mark.parametrize("topic", TOPICS)
def test_files_are_the_same_each_time(root, topic):
    one = scene(root, topic)
    first, second = (report.figure_bytes(PICTURES[topic], one, "svg") for _ in range(2))
    assert first == second and first.startswith(b"<?xml")
    assert report.figure_bytes(PICTURES[topic], one, "png") == report.figure_bytes(PICTURES[topic], one, "png")


def test_side_view_is_to_scale_and_stands_on_the_slope(root):
    result = machine.study(load_build(root / "data/builds/harbour_commuter.toml"), load_case(root / "data/cases/harbour_hill.toml"))
    assert (result.tyre_width, result.motor_diameter, result.inseam) == pytest.approx((0.054, 0.225, 0.832))
    axes = side.picture.draw(result)["side"]
    per_metre = [np.ptp(axes.transData.transform([(0, 0), one])[:, i]) for i, one in enumerate(((1, 0), (0, 1)))]
    assert per_metre[0] == pytest.approx(per_metre[1], rel=1e-6)
    tyre = max((patch for patch in axes.patches), key=lambda patch: patch.get_radius())
    assert tyre.center == (0, result.wheel_radius)
    assert tyre.get_radius() + tyre.get_linewidth() * axes.figure.dpi / 72 / per_metre[0] / 2 == pytest.approx(result.wheel_radius)
    road = axes.lines[0]
    (x0, x1), (y0, y1) = road.get_xdata(), road.get_ydata()
    assert (y1 - y0) / (x1 - x0) == pytest.approx(result.slope)
    distance = abs(result.slope * 0 - result.wheel_radius + (y0 - result.slope * x0)) / np.hypot(1, result.slope)
    assert distance == pytest.approx(result.wheel_radius)
    shown = {text.get_text() for text in axes.texts}
    assert {f"{result.push_ungeared:.0f} N", f"{result.push_gear:.0f} N", f"{result.push_assisted:.0f} N"} <= shown


@pytest.mark.parametrize("slope", [-0.3, -0.1, 0.1, 0.3])
def test_a_steep_road_stays_above_the_arrows(root, slope):
    build, case = load_build(root / "data/builds/harbour_commuter.toml"), load_case(root / "data/cases/harbour_hill.toml")
    axes = side.picture.draw(machine.study(build, replace(case, {"slope": slope})))["side"]
    lowest = axes.transData.transform([(0, min(axes.lines[0].get_ydata()))])[0, 1]
    caption = next(text for text in axes.texts if text.get_text() == "100 N on the pedal")
    assert lowest > caption.get_window_extent().y1


def test_the_knee_bends_forward_and_both_segments_are_equal():
    hip, knee, foot = (np.array(joint) for joint in side._leg((0.0, 1.1), (0.13, 0.36), 0.83))
    assert np.hypot(*(knee - hip)) == pytest.approx(np.hypot(*(foot - knee)))
    assert knee[0] > max(hip[0], foot[0])


def test_round_numbers():
    assert [pen.nice(value) for value in (0.0, -1.0, np.nan, np.inf, 0.07, 1.0, 1.01, 33.0, 81.0, 100.0)] == [
        *(1.0, 1.0, 1.0, 1.0),
        *(0.08, 1.0, 1.2, 40.0, 100.0, 100.0),
    ]


def test_lines_are_wrapped_at_their_width():
    assert start.wrapped(["pace", "push", "trim"], 11) == ["pace, push,", "trim"]
    assert start.wrapped([], 11) == []


def test_heat_axis_follows_the_duration(root):
    assert [scene(root, "heat", asked={"duration": 60.0 * minutes}).span.time for minutes in (7, 10, 11, 38, 60)] == [10, 10, 20, 60, 60]


def said(axes):
    return [text.get_text().replace("\n", " ") for text in axes.texts]


def test_motor_names_the_limits_and_shows_braking_below_zero(root):
    for case, limit in (("harbour_hill", "charge current of the packs"), ("long_descent", "full pack")):
        axes = PICTURES["motor"].draw(scene(root, "motor", case=case))["main"]
        shown = set(said(axes))
        assert {"torque cap", "braking: torque cap", f"braking: {limit}", "legs", "motor", "reserve", "gust asks"} <= shown
        assert axes.get_ylim()[0] < 0 < axes.get_ylim()[1]


def test_climbs_name_times_causes_and_what_else_ends_a_climb(root):
    warm = {"motor.phase_resistance": 0.17, "motor.magnet_limit": "52 degC", "assist.torque_cap": 50.0}
    hot = {"winding_start": None, "air_temperature": "33 degC"}
    mild = scene(root, "climbs", changes=warm, asked=hot | {"slope": 0.02})
    shown = {text.get_text() for text in PICTURES["climbs"].draw(mild)["map"].texts}
    assert {"here: for ever", "until derating begins", "until the magnets' limit", "legs at critical power"} <= shown
    assert f"{mild.main.cut_by} cuts" in shown and mild.main.cut_by != "none"
    assert {"20 min", "40 min", "80 min", "for ever"} <= shown
    steep = scene(root, "climbs", changes=warm, asked=hot | {"slope": 0.15})
    first = next(text.get_text() for text in PICTURES["climbs"].draw(steep)["map"].texts if text.get_text().startswith("here: "))
    assert first == f"here: {steep.main.holds / 60:.0f} min"
    often = {text.get_text() for text in PICTURES["climbs"].draw(steep)["often"].texts}
    assert f"rest: {steep.more.ended_by} in climb {steep.more.climbs + 1:.0f}" in often and steep.more.climbs < 3


def test_climbs_are_drawn_before_all_is_computed_and_where_no_slope_is_too_much(root):
    panel = panels.climbs(load_build(root / "data/builds/harbour_commuter.toml"), load_case(root / "data/cases/harbour_hill.toml"))
    axes = PICTURES["climbs"].draw(panel.result)
    assert all("computing …" in {text.get_text() for text in axes[name].texts} for name in ("map", "often"))
    axes = PICTURES["climbs"].draw(scene(root, "climbs", changes={"assist.torque_cap": 4.0}))
    assert "every slope for ever:\ntorque limits come\nbefore heat" in {text.get_text() for text in axes["map"].texts}


def test_heat_says_what_the_feet_take_over_and_draws_the_switches(root):
    sink = {"controller.bridge_capacity": 12.0, "controller.bridge_to_sink": 2.5, "controller.sink_capacity": 180.0}
    sink |= {"controller.sink_to_air": 0.9, "controller.bridge_limit": "100 degC"}
    one = scene(root, "heat", changes=sink | {"motor.phase_resistance": 0.25}, asked={"slope": 0.14, "duration": "25 min"})
    axes = PICTURES["heat"].draw(one)
    more = one.main.foot_force_end - one.main.foot_force_start
    assert more > 10
    assert {f"{more:+.0f} N at the end,", f"{100 * one.main.assist_left_end:.0f} % of the motor left"} <= {
        text.get_text() for text in axes["feet"].texts
    }
    assert "switches" in {text.get_text() for text in axes["rise"].texts}
    calm = PICTURES["heat"].draw(scene(root, "heat"))
    assert "nothing" in {text.get_text() for text in calm["feet"].texts}
    assert "switches" in {text.get_text() for text in calm["rise"].texts}
    bare = PICTURES["heat"].draw(scene(root, "heat", changes=dict.fromkeys(sink)))
    assert "switches" not in {text.get_text() for text in bare["rise"].texts}


WEAK = {"controller.weakening_current": 25.0, "motor.saturation_current": 110.0, "assist.torque_cap": 60.0}
WORDS = ("driving", "holding back", "trip from", "left", "gust asks")


@pytest.mark.parametrize("narrow", [False, True], ids=["wide", "narrow"])
def test_reach_names_what_ends_the_torque_and_shows_what_is_left(root, narrow):
    one = scene(root, "reach", case="head_wind", changes=WEAK)
    axes = PICTURES["reach"].draw(one, narrow=narrow)["main"]
    shown = said(axes)
    assert {"phase current", "battery current", "field weakening", f"{one.more.left:.1f} N·m left"} <= set(shown)
    assert all(any(word in text for text in shown) for word in WORDS)
    assert f"gust asks {one.more.gust_torque:.1f}" in shown and shown.count("holding back") == shown.count("driving") == 2
    hatches = {patch.get_hatch() for patch in axes.patches}
    assert {style.HATCHES[1], style.HATCHES[3]} <= hatches  # two hazards, told apart without colour
    upright = [line for line in axes.lines if np.ptp(line.get_xdata()) == 0 and list(line.get_ydata()) == [one.more.torque, one.more.end]]
    assert len(upright) == 1 and upright[0].get_xdata()[0] == pytest.approx(15.0)
    low, high = axes.get_xlim()
    assert -high / 3 < low < -high / 5 and axes.get_ylim()[0] < one.main.lowest.min() and axes.get_ylim()[1] > one.main.highest.max()


def test_reach_draws_the_edge_as_it_was_computed(root):
    one = scene(root, "reach", changes={"controller.electrical_frequency_limit": 100.0})
    axes = PICTURES["reach"].draw(one)["main"]
    edge = next(line for line in axes.lines if len(line.get_xdata()) == 2 * len(one.main.speed) + 1)
    assert edge.get_ydata()[: len(one.main.speed)] == pytest.approx(one.main.highest)
    step = np.abs(np.diff(one.main.highest)).argmax()
    assert 3.6 * np.diff(one.main.speed)[step] < 1e-3 and "electrical frequency" in said(axes)


def test_reach_says_where_a_trip_is_beyond_the_picture(root):
    one = scene(root, "reach", changes={"controller.voltage_rating": 120.0})
    axes = PICTURES["reach"].draw(one)["main"]
    assert f"trip from {3.6 * one.main.rating_speed:.0f} km/h: passes the 120 V rating" in said(axes)
    assert style.HATCHES[3] not in {patch.get_hatch() for patch in axes.patches}


@pytest.mark.parametrize("narrow", [False, True], ids=["wide", "narrow"])
@pytest.mark.parametrize("changes", [{}, WEAK, {"controller.phase_current_limit": 20.0}], ids=["as built", "weakened", "weak"])
def test_no_name_of_a_limit_covers_another_text_or_the_edge(root, narrow, changes):
    for asked in ({}, {"state_of_charge": 1.0}, {"speed": 0.0, "state_of_charge": 0.1}, {"slope": -0.1, "speed": 8.0}):
        one = scene(root, "reach", changes=changes, asked=asked)
        axes = PICTURES["reach"].draw(one, narrow=narrow)["main"]
        boxes = [(text.get_text(), text.get_window_extent()) for text in axes.texts]
        limits = {*one.main.highest_by, *one.main.lowest_by}
        for i, (name, box) in enumerate(boxes):
            if name.replace("\n", " ") in limits:
                for other, around in boxes[:i]:
                    assert not box.padded(-2).overlaps(around.padded(-2)), (name, other, asked)
                for edge in (one.main.highest, one.main.lowest):
                    path = axes.transData.transform(np.column_stack([3.6 * one.main.speed, edge]))
                    assert not box.padded(-3).count_contains(path), (name, asked)


@pytest.mark.parametrize("narrow", [False, True], ids=["wide", "narrow"])
def test_train_draws_every_gear_to_scale_and_says_what_is_short(root, narrow):
    one = scene(root, "train", changes={"gears.gear.long.planet_shift": 0.0})
    axes = PICTURES["train"].draw(one, narrow=narrow)
    shown = said(axes["train"])
    assert {"sun 45 fixed on the axle", "13", "ring 71 drives the wheel", "as the build says", "91.9 mm at the roots"} <= set(shown)
    assert f" {one.more.smallest:.2f} short " in {text.get_text() for text in axes["kept"].texts}
    assert "none kept" in said(axes["refused"])
    counts = {float(text.get_text()) for text in axes["refused"].texts if text.get_text().strip().isdigit()}
    assert counts == set(map(float, one.main.refused.values()))
    gears = [patch for patch in axes["train"].patches if patch.get_hatch()]
    assert len({patch.get_hatch() for patch in gears}) == 3  # told apart without colour
    widths = [np.ptp(patch.get_path().vertices[:, 0]) for patch in gears]
    assert max(widths) > 91.9 and any(width == pytest.approx(1.25 * 47, rel=0.01) for width in widths)


def test_train_without_a_gear_or_with_planets_that_do_not_fit_says_why(root):
    shown = " ".join(said(PICTURES["train"].draw(scene(root, "train", "harbour_ungeared"))["train"]))
    assert shown == "no train to draw: gear 'direct' turns as one piece: it has no train to cut"
    changes = {"gears.gear.long.ratio": 1.6, "gears.gear.long.ring_room": "80 mm"}
    build = replace(load_build(root / "data/builds/harbour_commuter.toml"), changes)
    axes = PICTURES["train"].draw(panels.scene("train", build, load_case(root / "data/cases/harbour_hill.toml"), planets=7))
    assert "36/12/60, ratio 1.6000 with 7 planets, refused by assembly" in " ".join(said(axes["train"])) and not list(axes["kept"].texts)


def test_range_without_packs_and_downhill(root):
    texts = {text.get_text() for text in PICTURES["ride"].draw(scene(root, "ride", "harbour_ungeared"))["chance"].texts}
    assert texts == {"no packs in this build:\nthe legs go all the way"}
    down = PICTURES["ride"].draw(scene(root, "ride", case="long_descent"))
    assert "the packs gain on the way" in {text.get_text() for text in down["chance"].texts}
    assert down["energy"].get_xlim()[0] < -10 and "−11.5" in {text.get_text() for text in down["energy"].texts}


class TestLettering:
    def draw(self, text, kind, **options):
        figure, axes = style.new_figure((3, 1), margins=dict.fromkeys(style.MARGINS, 0.0))
        axes.set_axis_off()
        with style.look():
            axes.add_artist(kind(0.5, 0.5, text, transform=axes.transAxes, color=style.INK, **options))
        canvas = FigureCanvasAgg(figure)
        canvas.draw()
        return np.asarray(canvas.buffer_rgba())[..., 0].astype(int)

    @pytest.mark.parametrize("ha", ["left", "center", "right"])
    @pytest.mark.parametrize("va", ["baseline", "bottom", "center", "top"])
    def test_stands_where_matplotlib_would_put_it(self, ha, va):
        from matplotlib.text import Text

        ours, theirs = (self.draw("holds: 18.7 km/h", kind, ha=ha, va=va) for kind in (Lettering, Text))
        for axis in (0, 1):
            one, other = (np.flatnonzero((image < 128).any(axis=axis)) for image in (ours, theirs))
            assert abs(one[0] - other[0]) <= 3 and abs(one[-1] - other[-1]) <= 3
        assert (ours < 128).sum() == pytest.approx((theirs < 128).sum(), rel=0.1)

    def test_kept_pixels_are_the_pixels_of_a_first_drawing(self):
        first = self.draw("12.3 N·m", Lettering)
        assert np.array_equal(first, self.draw("12.3 N·m", Lettering))
        assert not np.array_equal(first, self.draw("12.4 N·m", Lettering))

    def test_is_a_text_in_vector_files(self, root):
        svg = report.figure_bytes(PICTURES["gearing"], scene(root, "gearing"), "svg")
        assert svg.count(b'<g id="text_') > 15


def test_all_pictures_draw_without_warnings(root):
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        for topic in TOPICS:
            axes = PICTURES[topic].draw(scene(root, topic, asked={"speed": 0.0, "slope": 0.0, "duration": 0.0}))
            assert all(isinstance(one, Axes) for one in each_axes(axes))
