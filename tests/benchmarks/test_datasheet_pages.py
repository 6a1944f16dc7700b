"""How often an honest page is called contradictory, and how often each mix-up is recognised, on a thousand noisy pages each.

Run with ``python -m pytest tests/benchmarks/test_datasheet_pages.py -s -m ''``.
"""

import dataclasses
import math

import numpy as np
from pages import BUILD, KNOWN, MIX_UPS, changed, full, noisy

from unikit.inputs import load_build
from unikit.studies import datasheet

PAGES = 1000
EACH = 60
MOTORS = (BUILD.motor, load_build("data/builds/classroom_demonstrator.toml").motor)


def motors(count, generator):
    """Motors about the two of the example builds, up to twice as strong, resistive and heavy."""
    for place in range(count):
        one = MOTORS[place % len(MOTORS)]
        factor = lambda: math.exp(generator.uniform(-0.7, 0.7))
        yield dataclasses.replace(
            one,
            torque_constant_peak=one.torque_constant_peak * factor(),
            phase_resistance=one.phase_resistance * factor(),
            mass=one.mass * factor(),
        )


def test_honest_pages():
    generator, alarms, outside = np.random.default_rng(3), 0, 0
    for machine in motors(PAGES, generator):
        found = datasheet.study(noisy(full(machine, None), generator))
        alarms += bool(found.contradictions)
        outside += not found.contradictions and abs(found.torque_constant / machine.torque_constant_peak - 1) > found.tolerance
    print(f"{PAGES} honest pages: {alarms / PAGES:.1%} called contradictory, {outside / PAGES:.1%} outside their band")
    assert alarms / PAGES < 0.10 and outside / PAGES < 0.08


def test_mixed_up_pages():
    generator, clean = np.random.default_rng(4), dataclasses.replace(KNOWN, spreads={})
    rates = {}
    for name, change, said in MIX_UPS:
        noticed = named = first = 0
        for _ in range(EACH):
            page = noisy(changed(clean, change), generator)
            found = datasheet.study(page)
            noticed += bool(found.contradictions)
            named += any(said in sentence for pair in found.contradictions for sentence in pair.explained_by)
            first += any(pair.explained_by and said in pair.explained_by[0] for pair in found.contradictions)
        rates[name] = noticed / EACH, named / EACH, first / EACH
        print(f"{name:22} noticed {noticed / EACH:4.0%}, named {named / EACH:4.0%}, named first {first / EACH:4.0%}")
    noticed, named, first = np.mean(list(rates.values()), axis=0)
    print(f"all: noticed {noticed:.0%}, named {named:.0%}, named first {first:.0%}")
    assert noticed > 0.9 and named > 0.9
