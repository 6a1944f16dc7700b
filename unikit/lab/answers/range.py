"""Expected answers of the range lesson."""

from __future__ import annotations

from ...formulas import carriage
from ...inputs import replace
from ...studies import ride
from ..exercises import Exercise, Slip, declare
from . import build, case

SLOW, HELD_BACK = "12 km/h", "30 %"
THERE_AND_BACK = 2 * case("head_wind").distance


def slow() -> ride.Ride:
    """The head wind at a lower speed."""
    return ride.study(build(), replace(case("head_wind"), {"speed": SLOW}))


def reach(held_back: str = HELD_BACK) -> float:
    """Range in the head wind with another charge held back."""
    return ride.study(replace(build(), {"packs.held_back": held_back}), case("head_wind")).range


def largest_cell(voltage: float | None = None) -> float:
    """Largest cell capacity with which a pack of the build still needs no approval."""
    pack = build().packs.pack[0]
    return carriage.NO_APPROVAL_LIMIT * 3600 / (pack.series * pack.parallel * (voltage or pack.cell_nominal_voltage))


def gain_for(quantile: str = "likely") -> float:
    """Largest assist gain with which the way there and back is within a range of the head wind's draws."""
    from scipy.optimize import brentq

    def spare(gain: float) -> float:
        stronger = replace(build(), {"assist.driving_gain.long": gain})
        return getattr(ride.reach(stronger, case("head_wind")), quantile) - THERE_AND_BACK

    return brentq(spare, 0.1, 3.0, xtol=1e-5)


PACK = build().packs.pack[0]

declare(
    Exercise(
        "range.1",
        "specific energy",
        lambda: slow().consumption,
        hints=(
            Slip(slow().road_power / slow().battery_power, "that is all that the road asks: the legs give a part of it"),
            Slip(3.6, "the factor is 3.6: joule per metre or watt-hour per kilometre?"),
            Slip(1 / 3.6, "the factor is 3.6: joule per metre or watt-hour per kilometre?"),
        ),
    ),
    Exercise(
        "range.2",
        "length",
        reach,
        hints=(
            Slip(reach("0 %") / reach(), "that empties the packs: leave the charge held back in them"),
            Slip(ride.study(build(), case("head_wind")).range / reach(), "that is with the charge held back as the file has it"),
            Slip(1000.0, "the factor is 1000: metres or kilometres?"),
        ),
    ),
    Exercise(
        "range.3",
        "charge",
        largest_cell,
        hints=(
            Slip(
                PACK.cell_nominal_voltage / PACK.curve_voltage[-1],
                "that takes the voltage of full cells: a pack is rated at its nominal voltage",
            ),
            Slip(PACK.series, "that is one cell alone: its pack has more of them in series"),
            Slip(1 / len(build().packs.pack), "each pack is judged by itself, not all of them together"),
            "hours for seconds",
        ),
    ),
    Exercise(
        "range.4",
        "ratio",
        gain_for,
        0.015,
        hints=(
            Slip(gain_for("middle") / gain_for(), "that reaches it in half of the draws: the task asks for nine of ten"),
            Slip(build().assist.driving_gain["long"] / gain_for(), "that is the gain as it is in the file"),
            "percent for fraction",
        ),
    ),
)
