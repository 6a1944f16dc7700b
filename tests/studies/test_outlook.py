"""Many rides along a route: against single rides, plain draws and what is known by hand; the same numbers whoever computes them."""

import pickle
from concurrent.futures import ThreadPoolExecutor
from functools import cache

import numpy as np
import pytest
from scipy.stats import norm

from unikit.inputs import Spread, draw, draw_at, make_route, replace, there_and_back
from unikit.studies import journey, outlook
from unikit.studies.many import PartError, Stopped
from unikit.studies.riding import prepare, run_many

from . import examples

UNCERTAIN = {
    "wind_speed": "3 m/s ± 1 m/s",
    "wind_from": "200 deg ± 30 deg",
    "air_temperature": "12 °C ± 4 K",
    "capacity_left": "80 % to 95 %",
}


@cache
def hill(length=1000.0, steps=20):
    there = np.linspace(0.0, length, steps + 1)
    return make_route("rise and fall", "invented", there, 14 * np.sin(there / 300), heading=0.001 * there[:-1])


@cache
def windy(**changes):
    return replace(examples.case(trim="steps"), UNCERTAIN | changes)


@cache
def scarce(low=0.165, high=0.185):
    """A case with a charge so low at the start that it may not be enough, and nothing else uncertain."""
    return replace(examples.case(trim="steps"), {"state_of_charge": f"{low} to {high}"})


@cache
def certain():
    build = examples.build()
    return replace(build, {path: spread.nominal for path, spread in build.spreads.items()})


@cache
def doubtful():
    """The certain build with two doubts, so that a ranking takes few rides."""
    return replace(certain(), {"rider.mass": "78 kg ± 1.5 kg", "wheel.rolling_coefficient": "0.007 to 0.009"})


@cache
def seen(seed=20, count=64):
    return outlook.study(examples.build(), windy(), hill(), count=count, seed=seed)


def test_rides_of_which_nothing_is_uncertain_are_all_the_one_ride():
    case = examples.case(trim="steps")
    found, single = outlook.study(certain(), case, hill(), count=20), journey.study(certain(), case, hill())
    assert found.uncertain == 0
    for name in ("consumption", "leg_share", "time"):
        assert getattr(found, name) == pytest.approx(getattr(single, name), rel=1e-12), name
        assert getattr(found, f"{name}_error") == pytest.approx(0, abs=1e-12 * abs(getattr(single, name))), name
    assert found.middle == pytest.approx(single.range)
    assert found.winding == pytest.approx(single.hottest_winding)
    assert found.reserve == pytest.approx(single.least_reserve)
    assert found.cut_out == pytest.approx(single.most_cut_out)
    assert found.left == pytest.approx(single.usable - single.cells, rel=1e-4), "charge at the voltage at rest"
    assert found.chance == 1 and found.walking == 0


def test_causes_are_those_of_the_ride_and_add_up():
    single = journey.study(certain(), examples.case(trim="steps"), hill())
    causes = outlook.study(certain(), examples.case(trim="steps"), hill(), count=20).causes
    mean = dict(zip(causes.cause, causes.mean * 1000, strict=True))
    assert mean["rolling"] == pytest.approx(single.rolling) and mean["air"] == pytest.approx(single.air)
    assert mean["from the cells"] == pytest.approx(single.cells)
    found = seen().causes
    given, taken = found.mean[:2].sum(), found.mean[2:].sum()
    assert given == pytest.approx(taken, rel=1e-6)
    assert np.all(found.error <= found.deviation + 1e-15)
    assert len(found.table()) == len(found.cause)


def test_plain_draws_give_the_same_means_within_their_errors():
    build, case, count = examples.build(), windy(), 160
    drawn, there = draw(build, count, 3), draw(case, count, 4)
    plain = run_many(prepare(drawn, there, hill(), drawn.gears.named("long"), count))
    found = seen()
    for name, values in (
        ("consumption", plain.totals[:, journey.j.CELLS] / 1000),
        ("leg_share", journey.leg_share(plain.totals)),
        ("time", plain.end[:, journey.j.TIME]),
    ):
        error = np.hypot(values.std() / np.sqrt(count), getattr(found, f"{name}_error"))
        assert getattr(found, name) == pytest.approx(values.mean(), abs=4 * error + 1e-12), name
    assert found.consumption_deviation == pytest.approx((plain.totals[:, journey.j.CELLS] / 1000).std(), rel=0.3)
    assert found.consumption_error < 0.6 * found.consumption_deviation / np.sqrt(found.rides), "quasi-random draws earn their keep"


def test_probability_of_getting_home_by_hand():
    """Only the charge at the start is uncertain, evenly between two ends: what is needed of it follows from single rides.

    The route ends uphill, so that nobody is short of energy on the way and has it again at the end.
    """
    uphill = hill(2000.0, 25)
    low, high = 0.165, 0.185
    enough, short = low, high
    for _ in range(16):
        middle = (enough + short) / 2
        ride = journey.study(certain(), examples.case(trim="steps", state_of_charge=middle), uphill)
        enough, short = (enough, middle) if ride.range >= uphill.length else (middle, short)
    known = (high - short) / (high - low)
    assert 0.1 < known < 0.9
    found = outlook.study(certain(), scarce(), uphill, count=512)
    assert found.uncertain == 1
    assert abs(found.chance - known) < 0.01
    assert found.chance_low <= known <= found.chance_high
    assert found.chance_error < 0.01
    assert np.mean(found.each["left"] >= 0) == pytest.approx(found.chance, abs=0.01), "short of energy is short of the way"


def test_curve_is_the_probability_at_every_distance():
    found = outlook.study(examples.build(), replace(windy(), {"state_of_charge": "16 % to 20 %"}), hill(), count=64)
    assert 0 < found.chance < 1
    assert np.all(np.diff(found.probability) <= 0)
    assert np.all((found.probability_low <= found.probability) & (found.probability <= found.probability_high))
    assert found.chance_of(found.length).value == found.chance
    for place in (0, 30, 90):
        assert found.chance_of(found.distance[place]).value == found.probability[place]
    assert found.distance[0] == 0 and found.distance[-1] >= 1.25 * found.length
    assert found.chance_of(found.likely).value >= 0.9 > found.chance_of(found.likely * 1.02).value
    assert len(found.table()) == len(found.distance)
    assert all(isinstance(text, str) for text in found.summary().values())


def test_what_nine_of_ten_rides_keep():
    found, nearly = seen(), 1e-9
    for name, kept in (
        ("winding", lambda limit: found.each["winding"] <= limit + nearly),
        ("reserve", lambda limit: found.each["reserve"] > limit + nearly),
        ("cut_out", lambda limit: found.each["cut_out"] <= limit + nearly),
        ("distance", lambda limit: found.each["distance"] > limit + nearly),
    ):
        limit = found.likely if name == "distance" else getattr(found, name)
        assert np.mean(kept(limit)) == pytest.approx(0.9, abs=0.02), name


def test_probability_of_walking():
    """Strong legs ride up a steep step and weak ones do not; on a level road nobody walks."""
    there = np.linspace(0.0, 300.0, 13)
    steep = make_route("steep", "invented", there, 0.15 * np.clip(there - 100.0, 0.0, 100.0))
    build = replace(certain(), {"rider.zero_cadence_torque": "10 N*m to 200 N*m"})
    found = outlook.study(build, examples.case(trim="none"), steep, count=64)
    assert 0.05 < found.walking < 0.95
    assert found.walking == np.mean(found.each["walked"] > 0)
    assert seen().walking == 0


def test_there_and_back_on_one_charge():
    """A hill between two places of one height, in still air: back costs what there costs, and twice as far is less sure."""
    case = replace(examples.case(trim="steps"), {"state_of_charge": "16 % to 22 %"})
    there = np.linspace(0.0, 1800.0, 25)
    route = make_route("hill", "invented", there, 12 * np.sin(np.pi * there / 1800.0))
    once, both = (outlook.study(certain(), case, way, count=64) for way in (route, there_and_back(route)))
    assert both.length == 3600
    assert 0.05 < both.chance < once.chance - 0.1
    assert both.chance_of(1800.0).value == pytest.approx(once.chance, abs=0.05)
    assert both.consumption == pytest.approx(once.consumption, rel=0.1)


def test_stated_sampling_error_is_that_over_seeds():
    case = replace(windy(), {"state_of_charge": "15 % to 20 %"})
    rides = [outlook.study(examples.build(), case, hill(1200.0, 12), count=32, seed=seed) for seed in range(20)]
    best = outlook.study(examples.build(), case, hill(1200.0, 12), count=384, seed=99)
    assert 0.2 < best.chance < 0.95
    for name in ("chance", "left", "consumption", "likely"):
        value, error = (np.array([getattr(one, key) for one in rides]) for key in (name, f"{name}_error"))
        off = np.sqrt(np.mean((value - getattr(best, name)) ** 2))
        assert 0.6 < off / np.sqrt(np.mean(error**2)) < 1.5, name
    held = [one.chance_low <= best.chance <= one.chance_high for one in rides]
    assert np.mean(held) > 0.8


def test_a_seed_decides_and_an_executor_does_not():
    again = outlook.study(examples.build(), windy(), hill(), count=64)
    with ThreadPoolExecutor(3) as threads:
        spread = outlook.study(examples.build(), windy(), hill(), count=64, executor=threads)
        ranked = outlook.ranking(certain(), windy(), hill(), count=16, executor=threads)
    for name, values in seen().each.items():
        assert np.array_equal(values, again.each[name]) and np.array_equal(values, spread.each[name]), name
    assert again.summary() == seen().summary() == spread.summary()
    assert ranked.table().equals(outlook.ranking(certain(), windy(), hill(), count=16).table())
    assert seen(seed=21).left != seen().left
    assert pickle.loads(pickle.dumps(again)).summary() == again.summary()


def test_progress_and_a_stop_that_keeps_whole_replicates():
    told = []
    whole = outlook.study(certain(), scarce(), hill(), count=160, progress=told.append)
    assert told == pytest.approx([1 / 3, 2 / 3, 1])
    few = outlook.study(certain(), scarce(), hill(), count=160, progress=told.append, stop=lambda: told[-1] == 1 / 3)
    assert (whole.rides, few.rides) == (160, 64)
    assert np.array_equal(few.each["left"], whole.each["left"][: len(few.each["left"])])
    with pytest.raises(Stopped, match="stopped before two of 20 replicates were complete"):
        outlook.study(certain(), scarce(), hill(), count=160, stop=lambda: True)


@pytest.mark.parametrize(
    ("count", "planned"), [(1, (16, 2)), (32, (16, 2)), (33, (17, 2)), (256, (16, 16)), (600, (19, 32)), (10_000, (20, 512))]
)
def test_plan_has_powers_of_two_and_is_large_enough(count, planned):
    replicates, each = outlook.plan(count)
    assert (replicates, each) == planned
    assert replicates * each >= count and replicates >= 16 and each & (each - 1) == 0


# -- what to measure next ------------------------------------------------------------


@cache
def ranked():
    return outlook.ranking(examples.build(), windy(), hill(), count=64)


def test_shares_are_those_of_one_number_at_a_time():
    """Where all is nearly in proportion, the share of a number is the square of slope times deviation (error propagation)."""
    build, case, route = doubtful(), windy(), hill()
    for path in ("wind_from", "air_temperature"):
        case = replace(case, {path: case.spreads[path].nominal})
    found = outlook.ranking(build, case, route, of="energy", count=128)

    def left(**changes):
        one, there = build, case
        for key, value in changes.items():
            path = key.replace("__", ".")
            one, there = (replace(one, {path: value}), there) if "__" in key else (one, replace(there, {path: value}))
        single = journey.study(one, there, route)
        return single.usable - single.cells

    squares = {}
    for path, whole in (("rider.mass", build), ("wheel.rolling_coefficient", build), ("wind_speed", case), ("capacity_left", case)):
        spread: Spread = whole.spreads[path]
        step = spread.parameters[1] if spread.shape == "normal" else (spread.parameters[1] - spread.parameters[0]) / np.sqrt(12)
        key = path.replace(".", "__")
        squares[path] = ((left(**{key: spread.nominal + step}) - left(**{key: spread.nominal - step})) / 2) ** 2
    whole_square = sum(squares.values())
    assert found.left_deviation == pytest.approx(np.sqrt(whole_square), rel=0.05)
    for path, first, first_error, total in zip(found.path, found.first, found.first_error, found.total, strict=True):
        assert first == pytest.approx(squares[path] / whole_square, abs=4 * first_error + 0.02), path
        assert total == pytest.approx(squares[path] / whole_square, abs=0.05), path


@pytest.mark.parametrize(("of", "first", "column"), [("energy", "capacity_left", "left"), ("range", "wind_speed", "distance")])
def test_the_first_is_worth_what_it_says(of, first, column):
    """The range spreads less by so much, once the number at the head of the list is known."""
    build, case = doubtful(), windy(wind_from="20 deg ± 30 deg")
    found = outlook.ranking(build, case, hill(), of=of, count=96)
    assert found.path[0] == first and found.next == found.number[0]
    before = outlook.study(build, case, hill(), count=128)
    per_metre = before.consumption if of == "energy" else 1.0
    assert found.range_deviation * per_metre == pytest.approx(before.each[column].std(), rel=0.1)
    left = []  # known, but whatever it is: the mean of the variances that are left
    for seed, known in enumerate(case.spreads[first].quantile((np.arange(10) + 0.5) / 10)):
        after = outlook.study(build, replace(case, {first: float(known)}), hill(), count=32, seed=seed)
        left.append(after.each[column].var())
    shrink = (before.each[column].std() - np.sqrt(np.mean(left))) / per_metre
    assert found.shrink[0] == pytest.approx(shrink, abs=3 * found.shrink_error[0] + 0.05 * shrink)
    assert found.shrink_error[0] < 0.1 * shrink
    assert np.all(np.diff(found.shrink) <= 0)


def test_wind_about_north_is_not_cut_off_at_a_whole_turn():
    shares = np.array([0.01, 0.16, 0.5, 0.84, 0.99])
    for north in (0.0, 360.0):
        case = windy(wind_from=f"{north} deg ± 40 deg")
        found = np.degrees(draw_at(case, {"wind_from": shares}).wind_from) - north
        assert found == pytest.approx(40 * norm.ppf(shares), abs=1e-6)


def test_stated_error_of_the_spread_is_that_over_seeds():
    case = replace(scarce(0.7, 0.8), {"capacity_left": "88 % to 100 %"})
    found = [outlook.ranking(certain(), case, hill(250.0, 10), of="energy", count=32, seed=seed) for seed in range(8)]
    values, errors = (np.array([getattr(one, name) for one in found]) for name in ("range_deviation", "range_deviation_error"))
    assert 0.5 < values.std(ddof=1) / np.sqrt(np.mean(errors**2)) < 2.0


def test_what_has_no_part_in_the_ride_has_no_share():
    found = ranked()
    place = found.path.index("head_wind") if "head_wind" in found.path else found.path.index("rider.zero_cadence_torque")
    assert found.first[place] == found.total[place] == found.total_error[place] == found.shrink[place] == 0
    assert found.total.sum() == pytest.approx(1, abs=0.15)
    assert found.rides == (2 + len(found.path)) * 64
    assert len(set(found.number)) == len(found.number) and "resistance of one cell (left)" in found.number
    assert len(found.table()) == len(found.number)


def test_draws_that_cannot_tell_two_numbers_apart_say_so():
    found = outlook.ranking(certain(), replace(scarce(0.7, 0.8), {"capacity_left": "88 % to 100 %"}), hill(), count=32)
    assert found.path[0] in ("state_of_charge", "capacity_left")
    assert (found.also != "none") == (found.first[1] + 2.2 * found.first_error[1] > found.first[0] - 2.2 * found.first_error[0])


# -- what is refused -----------------------------------------------------------------


def test_what_cannot_be_answered_is_refused():
    with pytest.raises(ValueError, match="has no motor with packs: there is no range to be unsure of"):
        outlook.study(examples.build("harbour_ungeared"), windy(), hill())
    with pytest.raises(ValueError, match="states the spread of a number: there is nothing to rank"):
        outlook.ranking(certain(), examples.case(), hill())
    with pytest.raises(ValueError, match="of must be one of 'range', 'energy', got 'charge'"):
        outlook.ranking(certain(), windy(), hill(), of="charge")
    downhill = make_route("down", "invented", np.linspace(0.0, 1000.0, 11), np.linspace(60.0, 0.0, 11))
    uncertain = replace(examples.case(trim="level"), {"state_of_charge": "50 % to 60 %"})
    for of, message in (("range", "their range has no limit: rank by energy"), ("energy", "no distance stands for the energy")):
        with pytest.raises(ValueError, match=message):
            outlook.ranking(replace(certain(), {"controller.standby_power": 0.0}), uncertain, downhill, of=of, count=16)
    with pytest.raises(ValueError, match="count must be at least 1, got 0"):
        outlook.study(certain(), windy(), hill(), count=0)
    nowhere = make_route("nowhere", "invented", [0.0, 100.0], [0.0, 0.0])
    with pytest.raises(PartError, match="part 1 of 4 .* failed: ValueError: route 'nowhere' does not say where it heads"):
        outlook.study(certain(), windy(), nowhere)
