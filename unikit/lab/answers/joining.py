"""Expected answers of the lesson on joined packs, wires and fuses."""

from __future__ import annotations

import math
from functools import cache

from ...formulas import bus
from ...formulas import joining as formulas
from ...formulas import wiring as wires
from ...inputs import Build, replace
from ...studies import joining
from ...studies import wiring as wiring_study
from ...studies.wires import LEADS, flow
from ..exercises import Exercise, Slip, declare
from . import build, case

FULLER, EMPTIER = 0.7, 0.3
MAIN_GAUGE = 10
QUICK, STARTED = 0.2, 0.95  # seconds of precharge, and the share reached by then


@cache
def pair() -> joining.Pairs:
    """Two packs of the example build at the charges asked."""
    return joining.pairs(build(), FULLER, EMPTIER)


def peak() -> float:
    """Current at first between two packs."""
    return float(pair().peak[0])


def heat() -> float:
    """Heat of the two until they rest."""
    return float(pair().loss[0])


def lowest() -> float:
    """Lowest charge of two packs with which a full one may be joined by the limits of the cells."""
    return 1.0 - joining.study(build()).allowed_charge


def with_one() -> float:
    """The same for a single other pack."""
    one = build().packs.pack[0]
    curve = [one.series * volts for volts in one.curve_voltage]
    return 1.0 - float(formulas.allowed_charge_difference(1.0, pair().allowed[0], one.curve_charge, curve))


@cache
def thicker() -> Build:
    """The build with the main lead of another gauge."""
    return replace(build(), {"wiring.main_area": wires.awg_area(MAIN_GAUGE)})


def fuse() -> float:
    """Largest rating that fits then."""
    return float(wiring_study.study(thicker(), case("harbour_hill")).window_high)


def resistor() -> float:
    """Precharge resistor that charges the capacitor in the time asked."""
    return QUICK / float(bus.charging_time(STARTED, 1.0, build().controller.bus_capacitance))


@cache
def gauge(conductors: int = 1, rms_for_peak: bool = False) -> float:
    """Thinnest gauge of a motor lead, free in air, that bears the controller's limit for ever."""
    needed = flow(replace(build(), {"wiring.laid": "free"}), case("harbour_hill")).limit[LEADS.index("motor lead")]
    needed *= math.sqrt(0.5) if rms_for_peak else 1.0
    made, air = build().wiring, case("harbour_hill").air_temperature
    thin = made.insulation_thickness
    bears = lambda number: wires.ampacity(wires.awg_area(number), made.insulation_limit, air, thin, conductors)
    return float(next(number for number in range(30, -4, -1) if bears(number) >= needed))


declare(
    Exercise(
        "joining.1",
        "current",
        peak,
        hints=(
            Slip(2.0, "the factor is 2: the current passes both packs, so the loop has the resistance of both"),
            Slip(
                pair().resistance[0] / (pair().resistance[0] - 2 * build().packs.pack[0].wiring_resistance),
                "you seem to have left out wiring, fuse and plug",
            ),
            Slip(1 / build().packs.pack[0].series, "that is with the voltage of one cell: how many are in series?"),
        ),
    ),
    Exercise(
        "joining.2",
        "energy",
        heat,
        tolerance=0.02,
        hints=(Slip(2.0, "the factor is 2: the current dies away while the charge moves, so its mean difference is about half"),),
    ),
    Exercise(
        "joining.3",
        "ratio",
        lowest,
        tolerance=0.01,
        hints=(
            "percent for fraction",
            Slip(joining.study(build()).allowed_charge / lowest(), "that is how far they are apart: the charge of the others is asked"),
            Slip(with_one() / lowest(), "that is for one other pack: two share the current that the full one gives"),
        ),
    ),
    Exercise(
        "joining.4",
        "current",
        fuse,
        hints=(Slip(3.0, "the factor is 3: all fuses together feed the main lead"),),
    ),
    Exercise(
        "joining.5",
        "resistance",
        resistor,
        hints=(
            Slip(math.log(20), "that is for one time constant, which charges to 63 %"),
            Slip(1000.0, "the factor is 1000: check the prefix of the capacitance"),
        ),
    ),
    Exercise(
        "joining.6",
        "number",
        gauge,
        tolerance=1e-6,
        hints=(
            Slip(gauge(rms_for_peak=True) / gauge(), "that is for the rms: while the motor stands, one lead may carry the peak"),
            Slip((gauge() + 1) / gauge(), "one size too thin: does it still hold at the limit of the insulation?"),
        ),
    ),
)
