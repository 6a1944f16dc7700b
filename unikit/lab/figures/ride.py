"""Range: distance against the probability of getting there, and where the energy of a kilometre goes."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from .. import style
from ..picture import Picture
from . import pen, side

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
    ("leg_power", "from the legs"),
    ("battery_power", "from the cells"),
)
PAYERS = 2  # the last rows: who pays
WH_PER_KM = 3.6


class Span(NamedTuple):
    """Ends of the axes: km, and Wh/km upwards and downwards."""

    distance: float
    most: float
    least: float


def span(scene, least: Span | None = None) -> Span:
    """Room for the wanted distance, for what nine in ten reach, and for the largest cause."""
    wanted, energies = scene.main.distance / 1000, _energies(scene.main)
    reached = scene.more.middle / 1000 if scene.more is not None and np.isfinite(scene.more.middle) else 0.0
    low = -float(energies.min())
    most = pen.nice(1.25 * max(float(energies.max()), 0.5 * low))
    needed = Span(
        pen.nice(1.3 * max(wanted, reached)),
        most,
        pen.nice(max(1.35 * low, low + 0.18 * (most + low))) if low > 0.05 else 0.0,
    )
    return needed if least is None else Span(*map(max, needed, least))


def _energies(ride) -> np.ndarray:
    """Energy of a distance by cause, Wh/km; at rest there is no distance."""
    if ride.speed <= 0:
        return np.zeros(len(CAUSES))
    return np.array([getattr(ride, name) for name, _ in CAUSES]) / ride.speed / WH_PER_KM


def _frame(axes, scene) -> None:
    side.frame(axes["side"], scene.stage)
    chance, bars, held = axes["chance"], axes["energy"], scene.span
    chance.set(xlim=(0, held.distance), ylim=(0, 112), xlabel="distance / km", ylabel="probability / %", title="Do the packs last?")
    chance.set_yticks(range(0, 101, 20))
    bars.set(xlim=(-held.least, held.most), ylim=(len(CAUSES) - 0.4, -0.6), xlabel="energy / Wh/km", title="Energy of a kilometre")
    bars.set_yticks(range(len(CAUSES)), [text for _, text in CAUSES])
    bars.tick_params(axis="y", length=0)
    bars.grid(axis="y", visible=False)
    bars.axhline(len(CAUSES) - PAYERS - 0.5, color=style.QUIET, linewidth=1)
    bars.axvline(0, color=style.INK, linewidth=1)


def _marks(axes, scene) -> None:
    side.marks(axes["side"], scene.machine, scene.stage)
    _chance(axes["chance"], scene.main, scene.more, scene.span.distance)
    bars, values = axes["energy"], _energies(scene.main)
    rows, first = np.arange(len(CAUSES)), len(CAUSES) - PAYERS
    for chosen, color in ((rows < first, style.QUIET), (rows == first, style.PURPLE), (rows == first + 1, style.BLUE)):
        pen.bars(bars, rows[chosen], values[chosen], color)
    near = 0.015 * (scene.span.most + scene.span.least)
    for row, value in zip(rows, values, strict=True):
        text = f"{value:.1f}".replace("-0.0", "0.0").replace("-", "−")
        pen.words(bars, value + (near if value >= 0 else -near), row, text, size=0.85, ha="left" if value >= 0 else "right")


def _km(distance: float) -> str:
    return f"{distance:.{0 if distance >= 19.95 else 1}f} km"


def _chance(axes, ride, reach, furthest: float) -> None:
    """The curve of probability and the wanted distance on it."""
    if reach is None:
        pen.words(axes, furthest / 2, 55, "no packs in this build:\nthe legs go all the way", style.QUIET, 1.0, ha="center")
        return
    distance, probability = reach.distance / 1000, 100 * reach.probability
    pen.line(axes, np.append(distance, max(distance[-1], furthest)), np.append(probability, probability[-1]), **style.line(0))
    wanted, chance = ride.distance / 1000, 100 * reach.chance
    pen.line(axes, [wanted, wanted], [0, chance], color=style.VERMILION, linewidth=1.4, linestyle=(0, (4, 2)))
    pen.line(axes, wanted, chance, marker="o", color=style.VERMILION, markersize=7)
    error = 100 * reach.chance_error
    text = f"wanted {_km(wanted)}:\n{chance:.0f} %" + (f" ± {error:.0f} %" if error >= 0.5 else "")
    late = wanted > 0.5 * furthest
    pen.words(
        axes,
        wanted + (-0.025 if late else 0.025) * furthest,
        18,
        text,
        style.VERMILION,
        1.0,
        ha="right" if late else "left",
        paper=style.PAPER,
    )
    likely = f"nine in ten reach {_km(reach.likely / 1000)}" if np.isfinite(reach.likely) else "the packs gain on the way"
    pen.words(axes, 0.97 * furthest, 107, likely, style.BLUE, 1.0, ha="right", paper=style.PAPER)


picture = Picture(
    _frame,
    _marks,
    size=(9.2, 4.2),
    mosaic=[["side", "chance", "energy"]],
    ratios=[1.0, 1.3, 1.05],
    bare=("side",),
    margins={"left": 0.1, "right": 0.15, "columns": 1.0},
    narrow_margins={"left": 1.15, "right": 0.2},
    span=lambda scene: scene.key,
    text="Probability of reaching a distance on the packs, and the energy of a kilometre by cause",
)
