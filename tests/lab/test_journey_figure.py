"""Range along a route: the picture says what its studies found, and the panel follows a choice that grows while it stands."""

import io

import numpy as np
import pytest
from PIL import Image

from unikit.inputs import load_build, load_case, make_route, replace, steady_way
from unikit.lab import panels, ride_topics, upload
from unikit.lab.figures import PICTURES, journey, pen
from unikit.studies import journey as journey_study
from unikit.studies.riding import LONGEST_STEP, is_compiled


@pytest.fixture(scope="module")
def given(root):
    return load_build(root / "data/builds/harbour_commuter.toml"), load_case(root / "data/cases/head_wind.toml")


@pytest.fixture(scope="module")
def steep():
    """Up, then so steeply that the rider gets off, and down again."""
    at = np.arange(0.0, 2001.0, 10.0)
    return make_route("steep", "invented", at, np.interp(at, [0, 300, 700, 1000, 1200, 2000], [5, 11, 47, 150, 150, 60]), heading=0.0)


def drawn(build, case, route, **options):
    one = panels.scene("journey", build, case, route=route)
    return one, PICTURES["journey"].draw(one, **options)


def said(axes):
    return " | ".join(text.get_text() for text in axes.texts)


def test_the_words_are_the_numbers_of_the_studies(given):
    build, case = given
    one, axes = drawn(build, replace(case, {"state_of_charge": 0.3}), steady_way("flat", 6000.0, 0.001))
    ridden, seen = one.main, one.more
    words = said(axes["chance"])
    assert 0.1 < seen.chance < 0.9 and ridden.range < 9000
    assert f"home, 6.0 km: {100 * seen.chance:.0f} % ± {100 * seen.chance_error:.1f} %" in words
    assert f"nine in ten reach {seen.likely / 1000:.1f} km" in words and f"numbers as stated: {ridden.range / 1000:.1f} km" in words
    below = said(axes["along"])
    assert f"least {ridden.least_reserve:.1f} N·m" in below and f"most {ridden.most_cut_out:.1f} N·m" in below
    assert "walked" not in below and "limit" not in below


def test_bars_add_up_and_what_was_put_into_speed_stands_apart(given, steep):
    build, case = given
    ridden = journey_study.study(build, case, steep)
    values = journey.energies_of(ridden)
    causes, payers = values[: len(journey.CAUSES)], values[len(journey.CAUSES) : -1]
    assert causes.sum() == pytest.approx(payers.sum(), rel=1e-9)
    assert values[-1] * ridden.length * journey.WH_PER_KM == pytest.approx(ridden.acceleration)
    assert ridden.acceleration > 0 and ridden.on_foot > 0, "the walk is part of what the legs gave"
    axes = PICTURES["journey"].draw(panels.scene("journey", build, case, route=steep))
    shown = [text.get_text() for text in axes["energy"].texts]
    assert shown == [f"{value if abs(value) >= 0.05 else 0:.1f}".replace("-", "−") for value in values]


def test_walking_limits_and_the_end_of_what_may_be_spent_are_told(given, steep):
    build, case = given
    weak = replace(build, {"controller.phase_current_limit": "20 A"})
    one, axes = drawn(weak, replace(case, {"state_of_charge": 0.19}), steep)
    words, ridden = said(axes["along"]), one.main
    assert f"walked {ridden.walked:.0f} m" in words and ridden.walked > 0
    assert "a limit of the motor is met" in words and f"only what is held back from {ridden.range / 1000:.1f} km" in words
    met = journey.limit_met(ridden)
    assert met.any() and not met[ridden.on_the_way == "walked"].any()
    assert np.diff(np.r_[0.0, ridden.distance])[met].sum() == pytest.approx(ridden.cut, abs=30)
    gaps = [line for line in axes["along"].lines if np.isnan(line.get_ydata()).any()]
    assert len(gaps) == 4, "torques stop where the rider walks, and two stretches are marked on the ground"


def test_a_build_without_motor_and_a_rider_on_foot(root, given, steep):
    legs = load_build(root / "data/builds/harbour_ungeared.toml")
    one, axes = drawn(legs, given[1], steep)
    assert "no packs in this ride" in said(axes["chance"]) and "no motor in this build" in said(axes["along"])
    assert one.more is None and len(axes["along"].get_yticks()) == 0
    wall = steady_way("wall", 300.0, 0.45)
    assert "walks all the way" in said(drawn(given[0], given[1], wall)[1]["along"])


def test_before_the_draws_only_the_nominal_range_is_shown(given):
    build, case = given
    panel = panels.journey(build, case, steady_way("flat", 6000.0, 0.0))
    early = panel.result
    assert early.more is None and panel.unfinished
    axes = PICTURES["journey"].draw(early)
    assert "%" not in said(axes["chance"]) and "numbers as stated" in said(axes["chance"])
    panel.finish()
    assert panel.error is None and panel.result.more.rides >= 32
    assert "its sampling error" in panel.numbers.value


def test_narrow_words_stay_inside(given, steep):
    build, case = given
    one = panels.scene("journey", build, replace(case, {"state_of_charge": 0.19}), route=steep)
    axes = PICTURES["journey"].draw(one, narrow=True)
    assert pen.is_narrow(axes["along"])
    axes["along"].figure.canvas.draw()
    for name in ("chance", "along"):
        right = axes[name].figure.bbox.x1
        for text in axes[name].texts:
            assert text.get_window_extent().x1 <= right + 1, text.get_text()


def test_axes_hold_while_a_slider_moves_and_follow_another_route(given, steep):
    build, case = given
    flat = steady_way("flat", 6000.0, 0.001)
    panel = panels.journey(build, case, {"flat": flat, "steep": steep})
    start = panel.result.span
    panel.set(**{"case.state_of_charge": 0.5})
    assert panel.result.span == start
    panel.set(route="steep")
    assert panel.result.span.length == 2.0 and panel.result.span.high == 150.0
    with pytest.raises(ValueError, match="Route must be one of 'flat', 'steep', got 'nowhere'"):
        panel.set(route="nowhere")
    panel.reset.click()
    assert panel.values()["route"] is flat


def test_the_panel_follows_a_file_that_is_added(root, given):
    build, case = given
    chosen = upload.pick(root / "data/routes")
    panel = panels.journey(build, case, chosen)
    assert panel.values()["route"] is chosen.route
    chosen.choose("Over the hill")
    assert panel.values()["route"] is chosen.route and panel.result.main.route == "Over the hill"
    text = (root / "data/routes/harbour_round.toml").read_bytes().replace(b"Harbour round", b"My own way")
    assert chosen.add("mine.toml", text)
    assert panel.result.main.route == "My own way" and panel.error is None
    assert [name for name, _ in panel.rows["route"].box.options] == ["Harbour round", "Over the hill", "My own way"]
    assert not chosen.add("broken.gpx", b"<gpx/>") and panel.result.main.route == "My own way"
    panel.set(route="Harbour round")
    assert panel.result.main.route == "Harbour round" and chosen.route.name == "My own way", "the panel's own list may differ"


def test_a_wind_by_direction_takes_the_place_of_the_head_wind(given):
    build, case = given
    panel = panels.journey(build, case, steady_way("north", 3000.0, 0.0))
    ahead = panel.result.main.air
    panel.set(**{"case.wind_speed": 8.5})
    assert panel.result.main.air == pytest.approx(ahead, rel=0.1), "from the north, as the control shows, so again from ahead"
    panel.set(**{"case.wind_from": "180 deg"})
    assert panel.result.main.air < 0.1 * ahead
    panel.set(**{"case.wind_speed": 0.0})
    assert panel.result.main.air == ahead


def test_a_route_without_headings_says_so_in_a_wind(given):
    build, case = given
    panel = panels.journey(build, case, make_route("where", "invented", [0.0, 500.0], [0.0, 0.0]))
    assert panel.error is None
    panel.set(**{"case.wind_speed": 3.0})
    assert "does not say where it heads" in panel.alert.value


def test_long_routes_are_ridden_in_fewer_steps_while_a_slider_moves(given, monkeypatch):
    build, case = given
    at = np.arange(0.0, 30_001.0, 5.0)
    route = make_route("far", "invented", at, 20 * np.sin(at / 900), heading=0.0)
    panel = panels.journey(build, case, route)
    expected = max(ride_topics.DRAGGED[is_compiled()], 30_000 / LONGEST_STEP)
    assert panel.result.main.distance.size == pytest.approx(expected, rel=0.1)
    monkeypatch.setattr(ride_topics, "is_compiled", lambda: False)
    panel.redraw()
    assert panel.result.main.distance.size == pytest.approx(1200, rel=0.1)
    whole = journey_study.study(build, case, route)
    assert panel.result.main.consumption == pytest.approx(whole.consumption, rel=0.01)


def test_the_picture_of_a_flat_and_short_road_draws(given):
    build, case = given
    route = make_route("short", "invented", [0.0, 5.0, 10.0], [3.0, 3.0, 3.0], heading=0.0)
    one = panels.scene("journey", build, case, route=route)
    picture = Image.open(io.BytesIO(PICTURES["journey"].png(one)))
    assert picture.size == (920, 660)
    assert one.span == journey.span(one)
