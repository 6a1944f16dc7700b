"""Open-circuit curves of two published lithium cells: the potentials of their electrodes in closed form, and the part of each that is used.

They show what a chemistry's curve looks like where nobody has measured one's
own cells yet; they describe the cells of these papers and no others.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from .. import units as u
from .checks import one_of, within
from .registry import formula


@formula(
    equation=r"U_- = 1.9793\,e^{-39.3631 x} + 0.2482 - 0.0909\tanh 29.8538(x - 0.1234) - 0.04478\tanh 14.9159(x - 0.2769)"
    r" - 0.0205\tanh 30.4444(x - 0.6103)",
    source="chen2020",
    sign="against metallic lithium",
    valid="graphite with a share of silicon oxide, near 25 °C",
)
def graphite_potential(stoichiometry: u.Ratio) -> u.Volt:
    """Potential at rest of a negative electrode of graphite with some silicon oxide.

    Args:
        stoichiometry: lithium in the electrode, as a share of what fits in.

    >>> print(round(graphite_potential(0.5), 4))
    0.1331
    """
    within("stoichiometry", stoichiometry, 0.0, 1.0)
    x = np.asarray(stoichiometry, float)
    return (
        1.9793 * np.exp(-39.3631 * x)
        + 0.2482
        - 0.0909 * np.tanh(29.8538 * (x - 0.1234))
        - 0.04478 * np.tanh(14.9159 * (x - 0.2769))
        - 0.0205 * np.tanh(30.4444 * (x - 0.6103))
    )[()]


@formula(
    equation=r"U_+ = 4.4875 - 0.8090\,y - 0.0428\tanh 18.5138(y - 0.5542) - 17.7326\tanh 15.7890(y - 0.3117)"
    r" + 17.5842\tanh 15.9308(y - 0.3120)",
    source="chen2020",
    sign="against metallic lithium",
    valid="oxide of nickel, manganese and cobalt in the shares 8:1:1, near 25 °C",
)
def nickel_potential(stoichiometry: u.Ratio) -> u.Volt:
    """Potential at rest of a positive electrode of nickel, manganese and cobalt oxide.

    Args:
        stoichiometry: lithium in the electrode, as a share of what fits in.

    >>> print(round(nickel_potential(0.5), 4))
    3.972
    """
    within("stoichiometry", stoichiometry, 0.0, 1.0)
    y = np.asarray(stoichiometry, float)
    return (
        4.4875
        - 0.8090 * y
        - 0.0428 * np.tanh(18.5138 * (y - 0.5542))
        - 17.7326 * np.tanh(15.7890 * (y - 0.3117))
        + 17.5842 * np.tanh(15.9308 * (y - 0.3120))
    )[()]


@formula(
    equation=r"U_+ = 3.4077 - 0.020269\,y + 0.5\,e^{-150 y} - 0.9\,e^{-30 (1 - y)}",
    source="afshar2017",
    sign="against metallic lithium",
    valid="near 25 °C; one curve for charge and discharge, though real cells show two",
)
def phosphate_potential(stoichiometry: u.Ratio) -> u.Volt:
    """Potential at rest of a positive electrode of iron phosphate.

    Args:
        stoichiometry: lithium in the electrode, as a share of what fits in.

    >>> print(round(phosphate_potential(0.5), 4))
    3.3976
    """
    within("stoichiometry", stoichiometry, 0.0, 1.0)
    y = np.asarray(stoichiometry, float)
    return (3.4077 - 0.020269 * y + 0.5 * np.exp(-150 * y) - 0.9 * np.exp(-30 * (1 - y)))[()]


class Published(NamedTuple):
    """A published cell: lithium in its electrodes when it is empty and full, and its positive electrode."""

    negative_empty: float
    negative_full: float
    positive_empty: float
    positive_full: float
    positive: str
    paper: str


# The ends follow from the lithium in the cell and its lowest and highest voltage; they are those of
# the parameter sets named in the bibliography: 2.5 to 4.2 V, and 2.0 to 3.6 V.
PUBLISHED = {
    "nickel manganese cobalt": Published(
        0.02634579027064577, 0.9106180466524094, 0.853974674630047, 0.2638452245913298, "nickel", "Chen and others (2020)"
    ),
    "iron phosphate": Published(
        0.017617931791027226,
        0.8100434952651947,
        0.7035020209291313,
        0.0037615921079256352,
        "phosphate",
        "Prada and others (2013), with the electrodes of Chen and others (2020) and Afshar and others (2017)",
    ),
}


@formula(
    equation=r"V_0(s) = U_+\bigl(y_0 + s\,(y_1 - y_0)\bigr) - U_-\bigl(x_0 + s\,(x_1 - x_0)\bigr)",
    source="chen2020, prada2013, afshar2017",
    valid="the cells of these papers, near 25 °C; the iron phosphate set borrows both its electrodes' curves from the other two",
)
def published_voltage(state_of_charge: u.Ratio, chemistry: str) -> u.Volt:
    """Voltage at rest of a published cell of a chemistry.

    Args:
        state_of_charge: charge left, as a share of the whole.
        chemistry: ``"nickel manganese cobalt"`` or ``"iron phosphate"``.

    >>> print(round(published_voltage(0.5, "nickel manganese cobalt"), 4))
    3.7509
    >>> print(round(published_voltage(0.5, "iron phosphate"), 4))
    3.266
    """
    one_of("chemistry", chemistry, tuple(PUBLISHED))
    within("state_of_charge", state_of_charge, 0.0, 1.0)
    cell, share = PUBLISHED[chemistry], np.asarray(state_of_charge, float)
    negative = graphite_potential(cell.negative_empty + share * (cell.negative_full - cell.negative_empty))
    place = cell.positive_empty + share * (cell.positive_full - cell.positive_empty)
    return (nickel_potential if cell.positive == "nickel" else phosphate_potential)(place) - negative
