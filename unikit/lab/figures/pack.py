"""Packs under load: the power that they can still give over the charge left, what the ride asks, and where the energy goes."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from .. import style
from ..picture import Picture
from . import pen, side

PARTS = (
    ("delivered", "delivered", style.BLUE),
    ("heat", "heat in packs", style.VERMILION),
    ("left_behind", "left behind", style.QUIET),
    ("not_charged", "not charged", style.QUIET),
)
WH = 3600.0
PRINTED = len(PARTS)  # the row below them


class Span(NamedTuple):
    """Ends of the axes: watt, and watt-hours."""

    power: float
    energy: float


def span(scene, least: Span | None = None) -> Span:
    """Room for the peak and for what the packs give when only the charge held back is left."""
    load, ride = scene.main, scene.more
    power = pen.nice(max(2.2 * load.peak_power, 0.6 * load.greatest_held_back))
    energy = 1.0 if ride is None else 1.3 * max(ride.nominal_energy, ride.full_energy) / WH
    needed = Span(power, pen.nice(energy))
    return needed if least is None else Span(*map(max, needed, least))


def _frame(axes, scene) -> None:
    side.frame(axes["side"], scene.stage)
    main, bars, held = axes["main"], axes["energy"], scene.span
    main.set(xlim=(100, 0), ylim=(0, held.power), xlabel="charge left / %", ylabel="power at the packs / W")
    main.set_title("What packs can still give")
    bars.set(xlim=(0, held.energy), ylim=(PRINTED + 0.6, -0.6), xlabel="energy / Wh", title="Where it goes")
    bars.set_yticks(range(PRINTED + 1), [text for _, text, _ in PARTS] + ["printed"])
    bars.tick_params(axis="y", length=0)
    bars.grid(axis="y", visible=False)
    bars.axhline(PRINTED - 0.5, color=style.QUIET, linewidth=1)


def _marks(axes, scene) -> None:
    side.marks(axes["side"], scene.machine, scene.stage)
    _power(axes["main"], scene.main, scene.more, scene.span.power)
    _energy(axes["energy"], scene.more, scene.span.energy)


def _power(main, load, ride, top: float) -> None:
    """Curves of greatest power, the lines of what is asked, and the ride along the lower one."""
    charge = 100 * load.charge
    if load.held_back > 0:
        pen.area(main, np.array([0.0, 100 * load.held_back]), 0.0, top, style.ORANGE, style.HATCHES[1])
    room = load.power_peak >= load.peak_power
    pen.area(main, charge[room], load.peak_power, np.minimum(load.power_peak, top)[room], style.GREEN, style.HATCHES[2])
    celsius = load.temperature - 273.15
    curves = [("power_peak", f"10 s at {celsius:.0f} °C".replace("-", "−"), style.line(0), 0.93)]
    for name, text, at, look, height in (("power_cold", "−10 °C", -10, 3, 0.79), ("power_warm", "25 °C", 25, 2, 0.65)):
        # one line where a build says nothing of temperature, or where the case is as cold or as warm
        if abs(celsius - at) >= 1 and not np.array_equal(load.power_cold, load.power_warm):
            curves.append((name, f"10 s at {text}", style.line(look), height))
    for name, _, look, _ in curves:
        pen.line(main, charge, getattr(load, name), **look)
    asked = [("peak asks", load.peak_power, style.VERMILION)]
    if load.cruise_power > 0:
        asked.append(("mean asks", load.cruise_power, style.INK))
    for _, power, color in asked:
        pen.line(main, [100, 0], [power, power], color=color, linewidth=1.4, linestyle=(0, (6, 2)))
    if ride is not None:
        start, end = 100 * ride.charge_over[0], 100 * ride.end_charge
        pen.line(main, [start, end], [ride.power] * 2, color=style.INK, linewidth=3.4, solid_capstyle="butt")
        pen.line(main, [start, end], [ride.power] * 2, color=style.INK, marker="o", linestyle="", markersize=6)
    _words(main, load, ride, curves, asked, top)


def _words(main, load, ride, curves, asked, top: float) -> None:
    """Names of curves and lines: the lines' at the left end, the curves' where they cross the upper part of the picture."""
    gap = 0.055 * top
    near = len(asked) == 2 and asked[0][1] - asked[1][1] < 2.2 * gap
    for place, (text, power, color) in enumerate(asked):
        up = place == 0
        drop = max(power - gap, 0.6 * gap) if not (up or power < 2 * gap) and near else power + gap
        pen.words(main, 98.5, power + gap if up else drop, f"{text} {power:.0f} W", color, ha="left", paper=style.PAPER)
    for name, text, look, height in curves:
        values = getattr(load, name)
        reached = np.flatnonzero(values >= height * top)
        at = 100 * load.charge[reached[0]] if reached.size else 97.0
        left = at < 60
        x = at + 1.5 if left else at - 1.5
        pen.words(main, min(x, 98.5), height * top, text, look["color"], ha="right" if left else "left", paper=style.PAPER)
    pen.words(main, 1.5, 0.03 * top, "held back", style.ORANGE, ha="right", va="bottom", paper=style.PAPER)
    if 0 < load.peak_cut_off < 1:
        at = 100 * load.peak_cut_off
        pen.line(main, [at, at], [0, load.peak_power], color=style.VERMILION, linewidth=1.0, linestyle=(0, (2, 2)))
        pen.line(main, at, load.peak_power, marker="X", color=style.VERMILION, markersize=8)
    if ride is not None and ride.ended_by != "charge held back" and not pen.is_narrow(main):
        pen.words(main, 100 * ride.end_charge + 1.5, ride.power - gap, "cut off", style.INK, ha="right", paper=style.PAPER)


def _energy(bars, ride, most: float) -> None:
    if ride is None:
        pen.words(bars, 0.5 * most, 1.5, "the packs gain\non this ride", style.QUIET, 1.0, ha="center", paper=style.PAPER)
        return
    values = [getattr(ride, name) / WH for name, _, _ in PARTS]
    for row, (value, (_, _, color)) in enumerate(zip(values, PARTS, strict=True)):
        pen.bars(bars, [row], [value], color)
    printed = ride.nominal_energy / WH
    pen.bars(bars, [PRINTED], [printed], style.PURPLE)
    for row, value in enumerate([*values, printed]):
        pen.words(bars, value + 0.015 * most, row, f"{value:.1f}" if value < 10 else f"{value:.0f}", size=0.85, ha="left")
    share = f"{100 * ride.usable_share:.0f} % of what is printed"
    pen.words(bars, 0.985 * most, 0.45, share, style.BLUE, 0.85, ha="right", paper=style.PAPER)


picture = Picture(
    _frame,
    _marks,
    size=(9.2, 4.2),
    mosaic=[["side", "main", "energy"]],
    ratios=[0.75, 1.65, 0.9],
    bare=("side",),
    margins={"left": 0.1, "right": 0.15, "columns": 1.12},
    narrow_margins={"left": 1.05, "right": 0.2},
    span=lambda scene: scene.key,
    text="Greatest power of the packs above the lowest cell voltage over the charge left, cold and warm, against what the ride asks "
    "in the mean and at its peak; and the packs' energy by what becomes of it",
)


def _ends(ride) -> tuple[float, float, float]:
    """Charge at both ends, and the largest pack current with room."""
    return 100 * float(ride.charge_over[0]), 100 * float(ride.charge_over[-1]), pen.nice(1.2 * float(np.nanmax(ride.pack_currents)))


def _sharing_frame(axes, ride) -> None:
    start, end, most = _ends(ride)
    axes.set(xlim=(start, end), ylim=(0, most), xlabel="charge left in all packs / %", ylabel="current of a pack / A")
    axes.set_title(f"Who carries the {ride.power:.0f} W?")


def _sharing_marks(axes, ride) -> None:
    left, ends = 100 * ride.charge_over, []
    for place, name in enumerate(ride.names):
        pen.line(axes, left, ride.pack_currents[:, place], **style.line(place))
        ends.append((left, ride.pack_currents[:, place], name, style.line(place)["color"]))
    style.label_ends(axes, ends)


sharing = Picture(
    _sharing_frame,
    _sharing_marks,
    span=_ends,
    margins={"right": 1.1},
    narrow_margins={"left": 0.7, "right": 0.95},
    text="Current of each pack over the charge that is left in all of them",
)
