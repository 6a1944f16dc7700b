"""Joined packs of a build: by hand, by accounts, at the limits, and what cannot be joined."""

import dataclasses

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from unikit.inputs import InputError, replace
from unikit.studies import joining

from . import examples

LOOP = 2 * (13 * 0.028 + 0.025)  # two packs of the commuter


def volts(charge):
    one = examples.build().packs.pack[0]
    return 13 * np.interp(charge, one.curve_charge, one.curve_voltage)


def two():
    """The commuter with two packs."""
    build = examples.build()
    spreads = {path: spread for path, spread in build.spreads.items() if "rear" not in path}
    return dataclasses.replace(build, packs=dataclasses.replace(build.packs, pack=build.packs.pack[:2]), spreads=spreads)


def test_two_packs_by_hand():
    found = joining.study(two(), "right", 0.9, 0.4)
    assert found.difference == pytest.approx(volts(0.9) - volts(0.4))
    assert found.resistance == pytest.approx(LOOP)
    assert found.peak == pytest.approx((volts(0.9) - volts(0.4)) / LOOP) == pytest.approx(found.current[0])
    assert found.allowed == pytest.approx(3.3 * LOOP) and found.allowed_by == "charge current of pack left"
    assert found.charge_end == pytest.approx(0.65) and found.moved == pytest.approx(0.25 * 2.05 * 3600)
    assert found.voltage_end == pytest.approx(volts(0.65))
    state = 0.9 - found.allowed_charge
    assert volts(0.9) - volts(state) == pytest.approx(found.allowed)


def test_the_pack_meets_the_others_as_one():
    found = joining.study(examples.build(), "left", 1.0, 0.15)
    assert found.resistance == pytest.approx(0.75 * LOOP)
    assert found.allowed == pytest.approx(2 * 3.3 * 0.75 * LOOP)  # two share what the one gives
    sides = found.sides
    assert sides.peak == pytest.approx([found.peak, -found.peak / 2, -found.peak / 2])
    assert sides.loss.sum() == pytest.approx(found.loss, rel=1e-9)
    assert sides.cells + (sides.loss - sides.cells) == pytest.approx(sides.loss)
    assert np.all(sides.cells / sides.loss == pytest.approx(13 * 0.028 / (LOOP / 2)))
    wiring = examples.build().wiring
    assert sides.plug / sides.loss == pytest.approx(2 * wiring.connector_resistance / (LOOP / 2))
    assert np.all(sides.plug + sides.lead < sides.loss - sides.cells)
    assert sides.charge_end == pytest.approx(np.full(3, (1.0 + 2 * 0.15) / 3))
    backwards = joining.study(examples.build(), "left", 0.15, 1.0)
    assert backwards.allowed_by == "charge current of pack left" and backwards.allowed == pytest.approx(3.3 * 0.75 * LOOP)
    assert backwards.current[0] < 0


def test_times_against_an_integrator():
    found = joining.study(two(), None, 1.0, 0.15)
    charge = 2.05 * 3600
    rate = lambda t, x: [-(volts(x[0]) - volts(1.15 - x[0])) / LOOP / charge]
    at_limit = lambda t, x: (volts(x[0]) - volts(1.15 - x[0])) / LOOP - 3.3
    half = lambda t, x: x[0] - (1.0 + found.charge_end) / 2
    tenth = lambda t, x: (volts(x[0]) - volts(1.15 - x[0])) / LOOP - 0.33
    run = solve_ivp(rate, (0, 5000), [1.0], events=(at_limit, half, tenth), rtol=1e-10, atol=1e-12, max_step=5.0)
    assert found.time_over == pytest.approx(run.t_events[0][0], rel=1e-6)
    assert found.time_half == pytest.approx(run.t_events[1][0], rel=1e-2)
    assert found.time_end == pytest.approx(run.t_events[2][0], rel=1e-6)


def test_a_discharge_limit_counts_where_it_is_lower():
    build = replace(two(), {f"packs.pack.{name}.cell_current_limit": "2 A" for name in ("left", "right")})
    found = joining.study(build, "left", 1.0, 0.2)
    assert found.allowed == pytest.approx(2.0 * LOOP) and found.allowed_by == "discharge current of pack left"


def test_strings_share_what_a_pack_gives():
    changes = {"parallel": 2, "cell_current_limit": "2 A", "charge_current_limit": "10 A"}
    build = replace(two(), {f"packs.pack.{pack}.{name}": value for pack in ("left", "right") for name, value in changes.items()})
    found = joining.study(build, "left", 1.0, 0.2)
    assert found.allowed == pytest.approx(4.0 * 2 * (13 * 0.028 / 2 + 0.025)) and found.allowed_by == "discharge current of pack left"


def test_how_far_apart_counts_from_the_fuller_side():
    over, under = joining.study(two(), "left", 0.9, 0.3), joining.study(two(), "left", 0.3, 0.9)
    assert over.allowed_charge == pytest.approx(under.allowed_charge)


def test_at_the_allowed_difference_the_verdict_turns():
    near = 1.0 - joining.study(two()).allowed_charge
    inside, outside = joining.study(two(), None, 1.0, near + 1e-3), joining.study(two(), None, 1.0, near - 1e-3)
    assert inside.verdict.startswith("within the limits") and inside.time_over == 0
    assert outside.verdict.startswith("not like this: 1.0 times") and outside.time_over > 0
    assert "measured and equalised first" in inside.verdict
    assert "someone who knows" in inside.caution and inside.summary()["caution"] == joining.CAUTION


def test_equal_packs_rest_and_cells_that_take_nothing_are_never_within():
    still = joining.study(examples.build(), None, 0.5, 0.5)
    assert still.peak == pytest.approx(0, abs=1e-12) and still.time_over == 0 and still.loss == pytest.approx(0, abs=1e-9)
    none = replace(two(), {f"packs.pack.{name}.charge_current_limit": "0 A" for name in ("left", "right")})
    found = joining.study(none, None, 0.9, 0.4)
    assert found.allowed == 0 and found.time_over == np.inf and found.verdict == "not like this: these cells take no charge"


def test_pairs():
    found = joining.pairs(examples.build())
    assert list(found.pair) == ["left and right", "left and rear", "right and rear"]
    assert found.allowed == pytest.approx(np.full(3, 3.3 * LOOP))
    assert found.peak == pytest.approx(np.full(3, (volts(1.0) - volts(0.15)) / LOOP))
    # the steepest place of the curve above what is held back is its top: 0.11 V of a cell for a tenth of the charge
    steepest = min(
        s - np.interp(volts(s) - 3.3 * LOOP, volts(np.linspace(0, 1, 9999)), np.linspace(0, 1, 9999)) for s in np.linspace(0.15, 1, 101)
    )
    assert found.allowed_charge == pytest.approx(np.full(3, steepest), rel=1e-3)
    assert len(found.table()) == 3


def test_a_lone_pack_meets_another_like_it():
    found = joining.study(examples.build("classroom_demonstrator"))
    assert found.others == "another pack like it" and list(found.sides.pack) == ["bench", "the other"]
    assert joining.pairs(examples.build("classroom_demonstrator")).pair[0] == "bench and another like it"


def test_what_cannot_be_joined():
    with pytest.raises(ValueError, match="has no packs: the joining study needs them"):
        joining.study(examples.build("harbour_ungeared"))
    with pytest.raises(ValueError, match="has no pack 'middle': there are left, right, rear"):
        joining.study(examples.build(), "middle")
    for charges in ({"charge": 1.2}, {"others": np.nan}, {"charge": [0.1, 0.2]}):
        with pytest.raises(ValueError, match=f"{next(iter(charges))} must be one state of charge from 0 to 1"):
            joining.study(examples.build(), **charges)
    build = replace(examples.build(), {"packs.joined": "series"})
    with pytest.raises(ValueError, match="are in series: the joining study needs packs in parallel"):
        joining.study(build)
    assert joining.margins(build) == [("joining", np.inf, "packs in series: nothing to join")]
    assert joining.margins(examples.build("classroom_demonstrator"))[0][1] == np.inf
    assert joining.margins(examples.build("harbour_ungeared")) == []
    for change in ({"packs.pack.left.series": 10}, {"packs.pack.left.chemistry": "iron phosphate"}):
        with pytest.raises(InputError, match="since the packs are in parallel"):
            replace(two(), change)
    curve = tuple(volts - 1.1 for volts in two().packs.pack[0].curve_voltage)
    low = replace(two(), {"packs.pack.left.curve_voltage": curve, "packs.pack.left.lowest_cell_voltage": "2 V"})
    with pytest.raises(ValueError, match="reach one voltage"):
        joining.study(low, None, 0.9, 0.4)


def test_margin_is_the_worst_way_round():
    ((key, margin, words),) = joining.margins(examples.build())
    empty_pack = joining.study(examples.build(), "left", 0.15, 1.0)
    assert key == joining.RULES[0].key == "joining"
    assert margin == pytest.approx(empty_pack.allowed / -empty_pack.difference)
    assert words == "9.0 V apart, 1.9 V allowed by left"
    assert joining.RULES[0].verdict(margin) == "short"
    unlike = replace(examples.build(), {"packs.pack.rear.charge_current_limit": "1 A"})
    assert joining.margins(unlike)[0][1] == pytest.approx(margin / 3.3)
    assert joining.margins(unlike)[0][2].endswith("allowed by rear")


def test_any_packs_keep_their_accounts():
    random = np.random.default_rng(22)
    for _ in range(30):
        changes = {}
        for name in examples.build().packs.names:
            changes[f"packs.pack.{name}.cell_resistance"] = float(np.exp(random.uniform(np.log(0.003), np.log(0.2))))
            changes[f"packs.pack.{name}.cell_capacity"] = random.uniform(3600.0, 36000.0)
            changes[f"packs.pack.{name}.wiring_resistance"] = random.choice([0.0, 0.04])
            changes[f"packs.pack.{name}.charge_current_limit"] = random.uniform(0.5, 20.0)
        build = replace(examples.build(), changes)
        found = joining.study(build, random.choice(build.packs.names), random.uniform(), random.choice([0.0, 0.5, 1.0, random.uniform()]))
        charge = np.array([one.cell_capacity for one in build.packs.pack])
        order = [build.packs.names.index(name) for name in found.sides.pack]
        assert charge[order] @ found.sides.charge == pytest.approx(charge[order] @ found.sides.charge_end, rel=1e-9)
        assert found.sides.loss.sum() == pytest.approx(found.loss, rel=1e-6, abs=1e-6)
        assert found.sides.open_voltage.min() - 1e-9 <= found.voltage_end <= found.sides.open_voltage.max() + 1e-9
        assert (found.time_over > 0) == (abs(found.difference) > found.allowed * (1 + 1e-9))
