"""Range along a route: the probability of getting home, energy by cause, and over the ground line what is left and what may be lost."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from matplotlib.patches import Polygon

from .. import style
from ..picture import Picture
from . import pen

CAUSES = (
    ("rolling", "rolling"),
    ("air", "air"),
    ("slope", "slope, net"),
    ("bearing", "bearings"),
    ("gear_loss", "gear"),
    ("iron_loss", "iron"),
    ("copper_loss", "copper"),
    ("controller_loss", "controller"),
    ("pack_loss", "packs, wires"),
    ("brake", "brake, getting off"),
)
PAYERS = ("from the legs", "from the cells")
PASSING = "(put into speed)"
ROWS = (*(text for _, text in CAUSES), *PAYERS, PASSING)
WH_PER_KM = 3.6
GROUND, FOOT = 0.5, 0.07  # depth of the ground below zero torque, and what stays free below that line, in shares of the torque axis
KEY = 0.32  # room for the key above the torque axis, in the same shares
TOUCHED = 1e-6  # N*m of reserve: less is a limit that is met


class Span(NamedTuple):
    """Ends of the axes: km of the probability, Wh/km upwards and downwards, km of the route, N*m, and altitudes in m."""

    distance: float
    most: float
    least: float
    length: float
    torque: float
    low: float
    high: float
    driven: bool  # by a motor too


def span(scene, least: Span | None = None) -> Span:
    """Room for the route, half as much again, the largest cause and the largest torque; the route's own length is never widened."""
    ridden, energies = scene.main, energies_of(scene.main)
    low = -float(energies.min())
    most = pen.nice(1.3 * max(float(energies.max()), 0.5 * low))
    shown = np.where(ridden.on_the_way == "ridden", np.maximum(ridden.reserve, np.abs(ridden.cut_out_step)), 0.0)
    length = ridden.length / 1000
    needed = Span(
        pen.nice(1.45 * length),
        most,
        pen.nice(max(1.5 * low, low + 0.2 * (most + low))) if low > 0.05 else 0.0,
        length,
        pen.nice(1.05 * float(shown.max(initial=0.0))),
        float(ridden.altitude.min()),
        float(ridden.altitude.max()),
        ridden.least_reserve is not None,
    )
    if least is None:
        return needed
    same = needed.length == least.length and needed[-3:] == least[-3:]  # another route has axes of its own along the way
    return Span(
        needed.distance, max(needed.most, least.most), max(needed.least, least.least), length,
        max(needed.torque, least.torque) if same else needed.torque, *needed[-3:],
    )  # fmt: skip


def energies_of(ridden) -> np.ndarray:
    """Energy of a kilometre by cause, who gave it, and what was put into speed on the way: Wh/km."""
    given = [ridden.legs - ridden.legs_held_back + ridden.on_foot, ridden.cells, ridden.acceleration]
    return np.array([*(getattr(ridden, name) for name, _ in CAUSES), *given]) / ridden.length / WH_PER_KM


def _frame(axes, scene) -> None:
    chance, bars, along, held = axes["chance"], axes["energy"], axes["along"], scene.span
    chance.set(xlim=(0, held.distance), ylim=(0, 149), xlabel="distance / km", ylabel="probability / %", title="Do the packs get home?")
    chance.set_yticks(range(0, 101, 20))
    bars.set(xlim=(-held.least, held.most), ylim=(len(ROWS) - 0.4, -0.6), xlabel="energy / Wh/km", title="Energy of a kilometre")
    bars.set_yticks(range(len(ROWS)), ROWS)
    bars.tick_params(axis="y", length=0)
    bars.grid(axis="y", visible=False)
    for row in (len(CAUSES) - 0.5, len(CAUSES) + len(PAYERS) - 0.5):
        bars.axhline(row, color=style.QUIET, linewidth=1)
    bars.axvline(0, color=style.INK, linewidth=1)
    key = KEY * (1.6 if pen.is_narrow(along) else 1.0)
    along.set(xlim=(0, held.length), ylim=(-GROUND * held.torque, (1 + key) * held.torque), xlabel="along the route / km")
    along.set(ylabel="torque / N·m", title="On the way: what the motor could add, and what the legs must catch if it stops")
    if pen.is_narrow(along):
        along.set_title("Reserve and cut-out step")
    along.set_yticks([tick for tick in along.get_yticks() if 0 <= tick <= held.torque] if held.driven else [])
    along.axhline(0, color=style.QUIET, linewidth=1)


def _marks(axes, scene) -> None:
    _chance(axes["chance"], scene.main, scene.more, scene.span.distance)
    _energy(axes["energy"], energies_of(scene.main), scene.span)
    _along(axes["along"], scene.main, scene.span)


def _km(distance: float) -> str:
    return f"{distance:.{0 if distance >= 99.5 else 1}f} km"


def _chance(axes, ridden, outlook, furthest: float) -> None:
    """The probability over distance with its 95 % interval, or until it is known the nominal range; its numbers stand above it."""
    length, reach = ridden.length / 1000, ridden.range / 1000
    if ridden.charge.max(initial=0.0) <= 0.0:
        pen.words(axes, furthest / 2, 55, "no packs in this ride:\nthe legs go all the way", style.QUIET, 1.0, ha="center")
        return
    if outlook is not None:
        distance = outlook.distance / 1000
        inside = distance <= furthest
        low, high = 100 * outlook.probability_low[inside], 100 * outlook.probability_high[inside]
        pen.area(axes, distance[inside], low, high, style.BLUE, style.HATCHES[0])
        pen.line(axes, distance[inside], 100 * outlook.probability[inside], **style.line(0))
    if reach <= furthest:
        pen.line(axes, [reach, reach], [0, 104], color=style.INK, linewidth=1.4, linestyle=(0, (1.5, 1.5)))
    pen.line(axes, [length, length], [0, 104], color=style.VERMILION, linewidth=1.4, linestyle=(0, (6, 2)))
    home = f"home, {_km(length)}"
    if outlook is not None:
        chance, error = 100 * outlook.chance, 100 * outlook.chance_error
        pen.line(axes, length, chance, marker="o", color=style.VERMILION, markersize=7)
        counted = f"{'all' if chance > 50 else 'none of'} {outlook.rides:.0f} rides"
        home += f": {chance:.0f} % ± {error:.1f} %" if error >= 0.05 else f": {counted}"
        if np.isfinite(outlook.likely):
            pen.words(axes, 0.02 * furthest, 113, f"nine in ten reach {_km(outlook.likely / 1000)}", style.BLUE, 0.95)
    pen.words(axes, 0.02 * furthest, 127, home, style.VERMILION, 0.95)
    nominal = f"numbers as stated: {_km(reach)}" if np.isfinite(reach) else "numbers as stated: packs gain"
    pen.words(axes, 0.02 * furthest, 141, nominal, style.INK, 0.95)


def _energy(axes, values: np.ndarray, held: Span) -> None:
    rows, first = np.arange(len(ROWS)), len(CAUSES)
    for chosen, color in (
        (rows < first, style.QUIET),
        (rows == first, style.PURPLE),
        (rows == first + 1, style.BLUE),
        (rows == first + 2, style.GREEN),
    ):
        pen.bars(axes, rows[chosen], values[chosen], color)
    near = 0.015 * (held.most + held.least)
    for row, value in zip(rows, values, strict=True):
        value = value if abs(value) >= 0.05 else 0.0
        text = f"{value:.1f}".replace("-", "−")
        pen.words(axes, value + (near if value >= 0 else -near), row, text, size=0.85, ha="left" if value >= 0 else "right")


def limit_met(ridden) -> np.ndarray:
    """Steps on which the motor gives all that it can, driving or braking, at the worst crank angle."""
    driving = (ridden.motor_torque > 0) & (ridden.reserve < TOUCHED)
    braking = (ridden.motor_torque < 0) & (ridden.braking_reserve < TOUCHED)
    return (ridden.on_the_way == "ridden") & (driving | braking)


def _along(axes, ridden, held: Span) -> None:
    """Ground line, reserve and cut-out step over distance, and where a limit is met or the rider walks."""
    at, scale = ridden.distance / 1000, held.torque
    rise = max(held.high - held.low, 1.0)
    ground = scale * (-GROUND + 0.17 + (GROUND - 0.17 - FOOT) * (ridden.altitude - held.low) / rise)
    outline = np.column_stack([np.r_[0.0, at, at[-1]], np.r_[ground[0], ground, -GROUND * scale]])
    outline = np.vstack([[0.0, -GROUND * scale], outline])
    axes.add_artist(Polygon(outline, closed=True, facecolor=(style.QUIET, 0.16), edgecolor=style.QUIET, linewidth=1.0))
    walked = ridden.on_the_way == "walked"
    for chosen, color, width in ((walked, style.PURPLE, 5.0), (limit_met(ridden), style.VERMILION, 5.0)):
        if chosen.any():
            pen.line(axes, at, np.where(chosen | np.r_[chosen[1:], False], ground, np.nan), color=color, linewidth=width)
    size = 0.85
    lowest, highest = int(np.argmin(ridden.altitude)), int(np.argmax(ridden.altitude))
    told = [(lowest, f"{held.low:.0f} m")] + ([(highest, f"{held.high:.0f} m")] if held.high - held.low >= 1 else [])
    for place, text in told:
        along = at[place] / held.length
        ha = "left" if along < 0.1 else "right" if along > 0.9 else "center"
        pen.words(axes, at[place], ground[place] - 0.1 * scale, text, style.QUIET, size, ha=ha)
    if held.driven:
        gone = np.where(walked, np.nan, ridden.reserve)
        step = np.where(walked, np.nan, np.abs(ridden.cut_out_step))
        pen.line(axes, at, gone, **style.line(0))
        pen.line(axes, at, step, **style.line(1))
        for place, value, color in (
            (ridden.least_reserve_at, ridden.least_reserve, style.BLUE),
            (ridden.most_cut_out_at, ridden.most_cut_out, style.VERMILION),
        ):
            if np.isfinite(value) and not walked.all():
                pen.line(axes, place / 1000, value, marker="o", color=color, markersize=7)
    if ridden.range < ridden.length:
        pen.line(axes, [ridden.range / 1000] * 2, [-GROUND * scale, scale], color=style.INK, linewidth=1.4, linestyle=(0, (1.5, 1.5)))
    _key(axes, ridden, held, walked)


def _end(which: str, torque: float, at: float, short: bool) -> str:
    return f"{torque:.1f}" if short else f"{which} {torque:.1f} N·m at {_km(at / 1000)}"


def _key(axes, ridden, held: Span, walked: np.ndarray) -> None:
    """What the lines are, with the narrowest place of each, above the torques; then what happened on the way."""
    narrow, scale = pen.is_narrow(axes), held.torque
    if walked.all():
        lines = [("the rider walks all the way", style.PURPLE)]
    elif not held.driven:
        lines = [("no motor in this build: nothing is added, and nothing can be lost", style.QUIET)]
    else:
        lines = [
            (f"reserve at the wheel, {_end('least', ridden.least_reserve, ridden.least_reserve_at, narrow)}", style.BLUE),
            (f"cut-out step at the cranks, {_end('most', ridden.most_cut_out, ridden.most_cut_out_at, narrow)}", style.VERMILION),
        ]
    events = []
    met = float(np.diff(np.r_[0.0, ridden.distance])[limit_met(ridden)].sum())
    if met > 0:
        events.append((f"a limit of the motor is met on {met:.0f} m", style.VERMILION))
    if ridden.walked > 0 and not walked.all():
        events.append((f"walked {ridden.walked:.0f} m", style.PURPLE))
    if ridden.range < ridden.length:
        events.append((f"only what is held back from {_km(ridden.range / 1000)}", style.INK))
    if ridden.over > 0:
        events.append((f"nothing holds the speed down on {ridden.over:.0f} m", style.VERMILION))
    rows = [[one] for one in (*lines, *events)] if narrow else [lines, events]
    for number, row in enumerate(rows):
        y = scale * (1 + KEY * ((1.6 - 0.29 * number) - 0.16 if narrow else 0.78 - 0.42 * number))
        for place, (text, color) in enumerate(row):
            x = (0.01 + 0.99 * place / max(len(row), 2)) * held.length
            pen.words(axes, x, y, text, color, 0.8 if narrow else 0.9, ha="left", paper=style.PAPER)


picture = Picture(
    _frame,
    _marks,
    size=(9.2, 6.6),
    mosaic=[["chance", "energy"], ["along", "along"]],
    ratios=[1.15, 1.0],
    margins={"left": 0.62, "right": 0.22, "columns": 1.4, "rows": 0.95, "bottom": 0.5},
    narrow_margins={"left": 1.25, "right": 0.15, "bottom": 0.5},
    narrow_heights=[3.0, 4.0, 3.8],
    span=lambda scene: scene.span,
    text="Probability of getting home over distance, the energy of a kilometre by cause, and along the route over its ground line the "
    "reserve of the motor and the step that the legs must catch if it stops",
)
