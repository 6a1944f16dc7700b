"""Range: distance against the probability of getting there, and where the energy of a kilometre goes."""

from __future__ import annotations

import numpy as np

from .. import style
from ..picture import Picture
from . import side

FURTHEST = 80.0  # km
MOST = 45.0  # Wh/km
CAUSES = (
    ("rolling", "rolling"),
    ("air", "air"),
    ("slope", "slope"),
    ("bearing", "bearings"),
    ("gear_loss", "gear"),
    ("iron_loss", "iron"),
    ("copper_loss", "copper"),
    ("controller_loss", "controller"),
    ("pack_loss", "packs, wires"),
)


def _frame(axes, scene) -> None:
    side.frame(axes["side"])
    axes["chance"].set(xlim=(0, FURTHEST), ylim=(0, 105), xlabel="distance / km", ylabel="probability / %", title="How likely the packs last")
    axes["energy"].set(xlim=(-MOST / 2, MOST), ylim=(len(CAUSES) + 1.6, -0.6), xlabel="energy / Wh/km")
    axes["energy"].set_yticks(range(len(CAUSES) + 2), [text for _, text in CAUSES] + ["from the legs", "from the cells"])
    axes["energy"].grid(axis="y", visible=False)
    axes["energy"].axhline(len(CAUSES) - 0.5, color=style.QUIET, linewidth=1)
    axes["energy"].axvline(0, color=style.QUIET, linewidth=1)


def _marks(axes, scene) -> None:
    side.marks(axes["side"], scene.machine)
    ride, reach = scene.main, scene.more
    chance = axes["chance"]
    if reach is not None:
        distance = reach.distance / 1000
        chance.plot(distance, 100 * reach.probability, **style.line(0))
        wanted = ride.distance / 1000
        chance.axvline(wanted, color=style.VERMILION, linewidth=1.4, linestyle=(0, (4, 2)))
        style.note(
            chance,
            wanted,
            14,
            f" wanted {wanted:.0f} km: {100 * reach.chance:.0f} ± {100 * reach.chance_error:.0f} % ",
            style.VERMILION,
            ha="left" if wanted < FURTHEST / 2 else "right",
        )
        if 0 < 1.15 * reach.likely / 1000 < FURTHEST:
            style.note(chance, reach.likely / 1000, 90, f" nine in ten reach {reach.likely / 1000:.0f} km", style.BLUE, va="center")
    else:
        style.note(chance, FURTHEST / 2, 50, "no packs in this build", ha="center")
    bars = axes["energy"]
    for row, (name, _) in enumerate(CAUSES):
        _bar(bars, row, getattr(ride, name), ride.speed, style.QUIET)
    _bar(bars, len(CAUSES), ride.leg_power, ride.speed, style.PURPLE)
    _bar(bars, len(CAUSES) + 1, ride.battery_power, ride.speed, style.BLUE)


def _bar(axes, row: int, power: float, speed: float, color: str) -> None:
    """One cause as energy per distance, with its number beside the bar."""
    value = power / speed / 3.6 if speed > 0 else 0.0
    drawn = float(np.clip(value, -MOST / 2, MOST))
    axes.barh(row, drawn, height=0.6, facecolor=(color, 0.3), edgecolor=color)
    place = drawn if abs(drawn) < 0.8 * MOST else 0.8 * drawn
    axes.text(place + (0.6 if value >= 0 else -0.6), row, f"{value:.1f}", va="center", ha="left" if value >= 0 else "right", fontsize=8.5)


picture = Picture(
    _frame,
    _marks,
    size=(9.6, 4.2),
    mosaic=[["side", "chance", "energy"]],
    ratios=[1.0, 1.25, 1.25],
    margins={"left": 0.95},
    text="Probability of reaching a distance on the packs, and the energy of a kilometre by cause",
)
