"""The capture envelope of builds: first numbers, limits that are known, both directions, and over draws."""

import numpy as np
import pytest
from published import published
from scipy.optimize import brentq

from unikit.formulas import balance, capture, road
from unikit.inputs import replace
from unikit.studies import balance as balances
from unikit.studies import capture as study
from unikit.studies import catch
from unikit.studies import loop as loops
from unikit.studies.drive import drive
from unikit.studies.legs import greatest_torque
from unikit.studies.split import torque_split

from . import examples

SPEEDS = (2.0, 4.0, 6.0, 8.0)
FIRST = {
    (1, 0): (published("CAP-1-0-2"), published("CAP-1-0-4"), published("CAP-1-0-6"), published("CAP-1-0-8")),
    (1.5, 0): (published("CAP-1.5-0-2"), published("CAP-1.5-0-4"), published("CAP-1.5-0-6")),
    (1.5, 0.353): (published("CAP-1.5-0.353-2"), published("CAP-1.5-0.353-4"), published("CAP-1.5-0.353-6"), published("CAP-1.5-0.353-8")),
    (1.5, 0.8): (published("CAP-1.5-0.8-2"), published("CAP-1.5-0.8-4"), published("CAP-1.5-0.8-6"), published("CAP-1.5-0.8-8")),
    (2, 0.515): (published("CAP-2-0.515-2"), published("CAP-2-0.515-4"), published("CAP-2-0.515-6"), published("CAP-2-0.515-8")),
}
AIR = 294.15  # K: 1.2 kg/m3 at sea level


def found(build, case, machine="assisted", **options):
    build = loops.completed(build)
    made = catch.stand(build, case, build.gears.named(), machine, **options)
    return made, catch.envelope(build, case, made)


@pytest.mark.parametrize(("ratio", "gain"), FIRST)
def test_first_table_of_speed_losses(ratio, gain):
    _, over = found(examples.first_machine(float(ratio), float(gain)), examples.case(air_temperature=AIR), speed=np.array(SPEEDS))
    for row, bump in zip(FIRST[ratio, gain], over.bump, strict=False):  # one was printed with a single digit
        assert bump == pytest.approx(row.value, abs=row.tolerance)


def test_the_ungeared_wheel_is_the_gear_of_ratio_one_without_gain_on_the_reference_cranks():
    case = examples.case(slope=0.02)
    build = examples.first_machine(cranks__length=0.15)
    solid = examples.first_machine(1.0, 0.0)
    for name in ("bump", "gust", "drop", "lean_rate_back"):
        ungeared = getattr(found(build, case, "ungeared")[1], name)
        assert ungeared == pytest.approx(getattr(found(solid, case)[1], name), rel=1e-12)


def test_motor_off_is_gain_zero_but_for_the_drag():
    case = examples.case(slope=0.02)
    off, none = found(examples.first_machine(), case, "alone")[1], found(examples.first_machine(gain=0.0), case)[1]
    assert off.bump == pytest.approx(none.bump, rel=1e-12) and off.drop == pytest.approx(none.drop, rel=1e-12)
    draws = found(examples.first_machine(motor__hysteresis_torque=2.0), case, "alone")[1]
    assert draws.bump < off.bump and draws.drop > off.drop  # drag asks the legs for more forward and helps them backward


def test_by_hand_in_both_directions():
    build, case = loops.completed(examples.first_machine(rider__backward_strength=0.6)), examples.case(slope=0.03)
    made, over = found(build, case)
    gear, rate = build.gears.named(), made.rate
    split = torque_split(build, gear, case.speed, made.split.wheel_torque, drive(build, case.state_of_charge))
    share = capture.worst_strength(split.cadence, rate, 0.2).share
    ahead = share * greatest_torque(build, split.cadence) - split.pedal_torque
    behind = share * 0.6 * greatest_torque(build, split.cadence)
    hold, hold_back, gain = 0.97 / 1.5, 1 / (0.97 * 1.5), 0.353
    path = np.exp(-rate * 0.010) / ((1 + rate / (20 * np.pi)) * (1 + rate * 0.003))
    late = np.exp(-rate * 0.1) / (1 + rate * 0.03) / made.stiffness
    assert over.lean == pytest.approx(late * ahead * (hold + gain * path), rel=1e-12)
    # backward the driving torque is first given up at the driving leverage, then the legs hold back
    legs = hold * split.pedal_torque + hold_back * behind
    assert over.lean_back == pytest.approx(late * (legs + gain * (split.pedal_torque + behind) * path), rel=1e-12)


def test_a_motor_without_reserve_adds_nothing_and_trim_uses_reserve_up():
    case = examples.case(slope=0.06, speed=3.0)
    capped = examples.first_machine(assist__torque_cap=12.0)
    made, _ = found(capped, case)
    assert made.forward.motor < made.forward.asked
    assert made.forward.motor == pytest.approx(made.split.reserve, abs=1e-12)
    trimmed, _ = found(capped, replace(case, {"trim": "level"}))
    assert trimmed.forward.motor < made.forward.motor and trimmed.backward.motor > made.backward.motor


def test_gust_pitches_by_the_height_of_the_air_and_is_the_push_as_a_wind():
    case = examples.case(head_wind=3.0)
    high, low = (found(examples.first_machine(rider__drag_height=height), case) for height in (1.0, 0.5))
    assert high[1].gust_pitches_back and not low[1].gust_pitches_back
    build = loops.completed(examples.first_machine(rider__drag_height=1.0))
    made, over = high
    before = road.drag_force(case.air_density, 0.55, case.speed, 3.0)
    push = road.drag_force(case.air_density, 0.55, case.speed, 3.0 + over.gust) - before
    body = loops.body(build)
    still = {"slope": 0.0, "air_density": 2.0, "drag_area": 1.0, "drag_height": 1.0}
    pitch = balance.motion(0.0, 0.0, 0.0, **body, **still, head_wind=np.sqrt(push)).lean_acceleration
    assert -pitch == pytest.approx(balance.linear_plant(**body).lean_by_lean * over.lean_back, rel=1e-12)


def test_the_balance_limited_speed_covers_and_more_does_not():
    build, case = examples.build(), replace(examples.cases()[0], {"gust": 3.0})
    result = study.study(build, case)
    assert result.ended_by == "the bump"

    def short(speed):
        return float(found(build, case, speed=speed)[1].bump) - study.FACTOR * study.BUMP

    assert result.balance_limited_speed == pytest.approx(brentq(short, 3.0, 12.0), abs=2e-3)
    assert result.balance_limited_speed > result.ungeared_speed > 0
    index = np.searchsorted(result.speed, result.balance_limited_speed)
    assert result.covered[index - 1] >= 1 > result.covered[index]


def test_what_ends_it_is_named_and_no_speed_is_an_answer():
    build, case = examples.build(), examples.case(gust=40.0, wanted_speed=4.0)
    gusty = study.study(build, case, bump=0.01)
    assert np.isnan(gusty.balance_limited_speed) and gusty.ended_by.startswith("the gust, at every speed")
    assert study.speed_margin(build, case, bump=0.01)[0] == 0.0
    assert gusty.summary()["balance-limited speed"] == "unknown"
    calm = study.study(build, examples.case(gust=0.0), bump=0.0)
    assert calm.balance_limited_speed == calm.speed[-1] and calm.ended_by.startswith("nothing")
    margin, words = study.speed_margin(build, replace(case, {"gust": 2.0}))
    assert margin > 1 and words.startswith("the bump at ")


def test_a_larger_wish_ends_sooner_and_a_later_rider_catches_less():
    build, case = examples.build(), examples.case(gust=2.0)
    ends = [study.study(build, case, bump=bump).balance_limited_speed for bump in (0.1, 0.15, 0.2, 0.25)]
    assert np.all(np.diff(ends) < 0)
    caught = [
        study.study(replace(build, {"rider.reaction_delay": delay, "rider.drag_height": 1.0}), case).bump
        for delay in (0.08, 0.1, 0.15, 0.2)
    ]
    assert np.all(np.diff(caught) < 0)


def test_slow_cranks_are_caught_at_the_dead_centre():
    build, case = examples.build(), examples.case(gust=2.0, slope=0.06)
    result = study.study(build, case)
    assert 0 < result.slowest_speed < result.balance_limited_speed
    assert result.bump_assisted[0] < result.bump_assisted[20]


def test_a_sensor_on_one_crank_may_feel_nothing_of_the_catch():
    case = examples.case()
    one, both = (found(replace(examples.build(), {"sensor.location": where}), case) for where in ("one crank", "spindle"))
    assert one[0].forward.asked < 0.3 * both[0].forward.asked
    alone = found(examples.build(), case, "alone")[1]
    assert alone.bump < one[1].bump < both[1].bump


def test_a_build_without_motor_is_its_own_legs():
    build = examples.build("harbour_ungeared")
    result = study.study(build, examples.case(gust=2.0))
    np.testing.assert_allclose(result.bump_assisted, result.bump_alone, rtol=1e-12)
    np.testing.assert_allclose(result.bump_assisted, result.bump_ungeared, rtol=1e-12)
    assert np.all(result.motor_share == 0) and result.assumed.startswith("reaction delay")


def test_draws_surround_the_middle_and_are_the_same_each_time():
    build, case = examples.build(), examples.cases()[0]
    first, again = (study.doubt(build, case, count=60) for _ in range(2))
    assert (first.low, first.high, first.covers_wanted) == (again.low, again.high, again.covers_wanted)
    assert first.low < study.study(build, case).balance_limited_speed < first.high
    assert first.low < first.middle < first.high
    assert np.all((first.chance >= 0) & (first.chance <= 1))
    fast = study.doubt(build, replace(case, {"wanted_speed": 20.0}), count=60)
    assert fast.covers_wanted == 0.0


def test_the_draws_are_what_each_rider_alone_would_get():
    build, case = examples.build(), examples.case(gust=2.0)
    drawn = study.riders(loops.completed(build), 5, 7)
    gear, speed = drawn.gears.named(), np.linspace(0.0, 12.0, 61)
    all_at_once = study.limit(speed, study._drawn(drawn, case, gear, "assisted", speed, 5), case.gust, 0.15).fastest
    for place in range(5):
        own = {path: getattr_path(drawn, path)[place] for path in drawn_paths(build)}
        one = replace(loops.completed(build), own)
        made = catch.envelope(one, case, catch.stand(one, case, one.gears.named(), "assisted", speed))
        assert study.limit(speed, made, case.gust, 0.15).fastest == pytest.approx(all_at_once[place], rel=1e-9)


def drawn_paths(build):
    """Paths of all uncertain numbers of a completed build."""
    return list(loops.completed(build).spreads)


def getattr_path(record, path):
    """The value under a dotted path."""
    for step in path.split("."):
        record = next((one for one in record if one.name == step), None) if isinstance(record, tuple) else getattr(record, step)
    return record


def test_the_habitual_rider_balances_inside_the_window_only():
    case = examples.case(gust=2.0)
    window = balances.study(examples.build(), case)
    assert study.habitual(examples.build(), case) == ("balances", "does not balance")
    assert window.toppling_gain > 0
    weak = replace(examples.build(), {"assist.driving_gain.long": 0.9 * window.toppling_gain})
    assert study.habitual(weak, case)[0] == "does not balance"
    assert study.habitual(examples.build("harbour_ungeared"), case) == ("balances", "balances")
    doubt = study.doubt(examples.build(), case, count=20)
    assert (doubt.habitual, doubt.habitual_alone) == ("balances", "does not balance")


def test_impossible_questions_are_refused_in_words():
    with pytest.raises(ValueError, match="fastest must be a speed above 0, got -1"):
        study.study(examples.build(), examples.case(), fastest=-1.0)
    with pytest.raises(ValueError, match="gear must be one of 'direct', 'long', got 'third'"):
        study.study(examples.build(), examples.case(), gear=replace_name(examples.build()))


def replace_name(build):
    """A gear that the build does not have."""
    return type(build.gears.named())(name="third", ratio=1.2, efficiency=0.95)
