"""What must hold between the fields of a sensing chain; its sisters stand in ``consistency``."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from ..formulas import sensing
from .assist_parts import Chain
from .fields import pretty, specs
from .records import Finding, Unread, rule

STRAINED = ("elastic_modulus", "gauge_factor")
BORNE = ("element_yield", "element_strength", "element_endurance", "stress_concentration", "bridge")
RATED = ("rated_torque", "rated_output")
NEEDS = {
    "hollow shaft": ("shaft_diameter", "poisson_ratio", *STRAINED),
    "arm": ("arm_height", "arm_width", "arm_distance", "arm_length", *STRAINED),
    "rated": RATED,
}
TAKES = {
    "hollow shaft": (*NEEDS["hollow shaft"], "shaft_bore", *BORNE, *RATED),
    "arm": (*NEEDS["arm"], *BORNE, *RATED),
    "rated": NEEDS["rated"],
}


def _show(name: str, value: object) -> str:
    spec = specs(Chain)[name]
    return repr(value) if spec.form == "word" else pretty(value, spec.kind, spec.unit)


@rule(Chain)
def _element_has_what_it_needs(chain: Chain) -> Iterator[Finding]:
    for name in NEEDS[chain.element]:
        if _given(chain, name) is None:
            yield name, None, f"a value, since the element is {chain.element!r}", "nothing"


@rule(Chain)
def _a_measured_output_has_its_torque(chain: Chain) -> Iterator[Finding]:
    if chain.element != "rated":
        for one, other in (RATED, RATED[::-1]):
            if _given(chain, one) is None and _given(chain, other) is not None:
                yield one, None, f"a value, since {other} is given", "nothing"


@rule(Chain)
def _fields_belong_to_the_element(chain: Chain) -> Iterator[Finding]:
    for name in dict.fromkeys(name for names in TAKES.values() for name in names):
        value = _given(chain, name)
        if name not in TAKES[chain.element] and value is not None:
            yield name, None, f"nothing, since the element is {chain.element!r}", _show(name, value)


def _given(chain: Chain, name: str) -> object:
    """A field's value; what could not be read has been given all the same, and is told elsewhere."""
    try:
        return getattr(chain, name)
    except Unread:
        return None if name not in NEEDS[chain.element] else ""


def _below(chain: Chain, small: str, large: str, same: bool = False) -> Iterator[Finding]:
    """The smaller of two fields is smaller, if both are given."""
    less, more = getattr(chain, small), getattr(chain, large)
    if less is not None and more is not None and np.any(np.greater(less, more) if same else np.greater_equal(less, more)):
        yield small, None, f"{'at most' if same else 'less than'} {large}, {_show(large, more)}", _show(small, less)


@rule(Chain)
def _bore_fits_the_shaft(chain: Chain) -> Iterator[Finding]:
    yield from _below(chain, "shaft_bore", "shaft_diameter")


@rule(Chain)
def _gauges_sit_on_the_arm(chain: Chain) -> Iterator[Finding]:
    yield from _below(chain, "arm_distance", "arm_length", same=True)


@rule(Chain)
def _yield_within_strength(chain: Chain) -> Iterator[Finding]:
    yield from _below(chain, "element_yield", "element_strength", same=True)


@rule(Chain)
def _endurance_within_strength(chain: Chain) -> Iterator[Finding]:
    yield from _below(chain, "element_endurance", "element_strength")


@rule(Chain)
def _rest_above_the_lower_rail(chain: Chain) -> Iterator[Finding]:
    yield from _below(chain, "lowest_output", "rest_output")


@rule(Chain)
def _rest_below_the_upper_rail(chain: Chain) -> Iterator[Finding]:
    yield from _below(chain, "rest_output", "highest_output")


@rule(Chain)
def _input_has_a_range(chain: Chain) -> Iterator[Finding]:
    yield from _below(chain, "input_low", "input_high")


@rule(Chain)
def _what_hangs_on_the_upper_resistor(chain: Chain) -> Iterator[Finding]:
    if chain.upper_resistor is None:
        for name in ("lower_resistor", "filter_capacitor"):
            if getattr(chain, name) is not None:
                yield "upper_resistor", None, f"a value, since {name} is given: the amplifier's output would meet it directly", "nothing"


@rule(Chain)
def _an_average_has_a_rate(chain: Chain) -> Iterator[Finding]:
    if chain.averaged_samples is not None and chain.sampling_frequency is None:
        yield "sampling_frequency", None, "a value, since averaged_samples is given", "nothing"


@rule(Chain)
def _rest_within_input_and_converter(chain: Chain) -> Iterator[Finding]:
    rest = np.multiply(chain.rest_output, divider(chain))
    low, high = chain.input_low, np.minimum(chain.input_high, chain.converter_range)
    if np.any((rest <= low) | (rest >= high)):
        ends = f"{pretty(low, 'voltage', 'V')} and {pretty(high, 'voltage', 'V')}"
        yield (
            "rest_output",
            None,
            f"a voltage that reaches the converter between {ends}, the ends of input and converter",
            f"{pretty(rest, 'voltage', 'V')} there",
        )


def divider(chain: Chain) -> float:
    """Voltage at the converter over output of the amplifier."""
    upper, lower, load = (getattr(chain, name) for name in ("upper_resistor", "lower_resistor", "converter_resistance"))
    return 1.0 if upper is None else sensing.loaded_divider(upper, np.inf if lower is None else lower, np.inf if load is None else load)
