"""Packs as worn as a case says: in every study that asks for them the same as a build with such cells, also over draws."""

from functools import cache

import numpy as np
import pytest

from unikit.inputs import draw, make_route, replace
from unikit.inputs.variants import refuse_draws
from unikit.studies import descents, journey, legs_alone, outlook, pack, ride, slopes
from unikit.studies.cells import aged

from . import examples

AGE = {"capacity_left": 0.8, "resistance_growth": 1.7}
ROUTE = make_route("rise and fall", "invented", np.linspace(0.0, 600.0, 13), 8 * np.sin(np.linspace(0.0, 6.0, 13)))
CASE = examples.case(slope=0.03, state_of_charge=0.97, trim="steps")
DOWN = examples.case(slope=-0.05, state_of_charge=0.97, trim="level")
STUDIES = {
    "ride": lambda build, case: ride.study(build, case).summary(),
    "reach": lambda build, case: ride.reach(build, case, count=20).summary(),
    "pack": lambda build, case: pack.study(build, case).summary(),
    "discharge": lambda build, case: pack.discharge(build, case).summary(),
    "margins": lambda build, case: str(pack.margins(build, case, build.gears.named())),
    "slopes": lambda build, case: str(slopes.study(build, replace(case, {"slope": -0.08})).foot_over_level),
    "descents": lambda build, case: descents.study(build, replace(DOWN, AGE if case.capacity_left else {})).summary(),
    "journey": lambda build, case: journey.study(build, case, ROUTE).summary(),
    "outlook": lambda build, case: outlook.study(build, case, ROUTE, count=4).summary(),
}


def certain(build):
    return replace(build, {path: spread.nominal for path, spread in build.spreads.items()})


@cache
def worn():
    """The build with cells as the case with an age has them."""
    build, changes = examples.build(), {}
    for one in build.packs.pack:
        place = f"packs.pack.{one.name}"
        changes |= {f"{place}.cell_capacity": 0.8 * one.cell_capacity, f"{place}.cell_resistance": 1.7 * one.cell_resistance}
        changes |= {f"{place}.{name}": 1.7 * getattr(one, name) for name in ("fast_resistance", "slow_resistance")}
    return replace(build, changes)


@pytest.mark.parametrize("name", STUDIES)
def test_a_worn_pack_is_one_with_worn_cells(name):
    new, old = certain(examples.build()), certain(worn())
    found = STUDIES[name](new, replace(CASE, AGE))
    assert found == STUDIES[name](old, CASE) and found != STUDIES[name](new, CASE)


def test_a_case_without_age_leaves_the_build_as_it_is():
    build, ungeared = examples.build(), examples.build("harbour_ungeared")
    assert aged(build, CASE) is build
    assert aged(ungeared, replace(CASE, AGE)) is ungeared
    few = aged(examples.build("classroom_demonstrator"), replace(CASE, {"resistance_growth": 2.0})).packs.pack[0]
    new = examples.build("classroom_demonstrator").packs.pack[0]
    assert few.cell_resistance == 2 * new.cell_resistance and few.cell_capacity == new.cell_capacity


def test_doubt_about_the_age_is_doubt_about_the_range():
    build, case = certain(examples.build()), replace(CASE, {"capacity_left": "60 % to 100 %"})
    found = ride.study(build, draw(case, 200, 3)).range
    ends = [ride.study(build, replace(CASE, {"capacity_left": one})).range for one in (0.6, 1.0)]
    assert ends[0] < found.min() < 0.65 * ends[1] and 0.97 * ends[1] < found.max() < ends[1]
    assert ride.reach(build, case).likely == pytest.approx(ride.study(build, replace(CASE, {"capacity_left": 0.64})).range, rel=0.02)


@pytest.mark.parametrize(
    ("words", "ask"),
    [
        ("slopes", slopes.study),
        ("descents", lambda build, case: descents.study(build, replace(case, {"slope": -0.05}))),
        ("legs alone", legs_alone.study),
        ("outlook", lambda build, case: outlook.study(build, case, ROUTE, count=4)),
        ("outlook", lambda build, case: outlook.ranking(build, case, ROUTE, count=4)),
    ],
)
def test_lists_of_draws_are_refused_in_words(words, ask):
    with pytest.raises(ValueError, match=f"is a list of draws: the {words} study looks at one build in one case at a time"):
        ask(draw(examples.build(), 5, 1), CASE)
    with pytest.raises(ValueError, match="state_of_charge of 'Plain' is a list of draws"):
        ask(examples.build(), draw(replace(CASE, {"state_of_charge": "50 % to 60 %"}), 5, 1))
    refuse_draws(words, examples.build(), replace(CASE, {"state_of_charge": "50 % to 60 %"}))


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"seed": -1}, "seed must be a whole number from 0, got -1"),
        ({"seed": 1.5}, "seed must be a whole number from 0, got 1.5"),
        ({"count": np.nan}, "count must be at least 1, got nan"),
    ],
)
def test_counts_and_seeds_that_are_none_are_refused(changes, words):
    with pytest.raises(ValueError, match=words):
        outlook.study(examples.build(), CASE, ROUTE, **changes)
