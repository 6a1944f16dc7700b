"""Sensing: what a push of any size becomes, and how much of each stage of the chain the hardest one uses."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from .. import style
from ..picture import Picture
from . import pen, side

DEEPEST = 0.4  # of a step of the converter: the smallest push that is drawn
MOST = 160.0  # per cent on the axis of the shares
STAGES = {
    "element": None,
    "amplifier": "amplifier",
    "converter": "converter",
    "input": "controller input",
    "motor's cap": "commanded torque",
}


class Span(NamedTuple):
    """Ends of the two logarithmic axes, newton metres; the low ones negative logarithms, so that the larger of two holds both."""

    push: float
    torque: float
    least_push: float
    least_torque: float


def span(scene, least: Span | None = None) -> Span:
    """From below a step of the converter to beyond rails and hardest push."""
    result = scene.main
    small = DEEPEST * result.resolution
    gain = max(result.gain, 0.02)
    large = 1.5 * max(result.range, result.range_back, result.peak)
    bottom = min(gain * small, *(0.5 * level for level in (result.phantom, result.trim_step) if level > 0))
    top = 2.2 * max(result.driving.max(), result.resisting.max(), result.lean_torque, result.trim_step)
    needed = Span(pen.nice(large), pen.nice(top), -_below(small), -_below(bottom))
    return needed if least is None else Span(*map(max, needed, least))


def _below(value: float) -> float:
    """Logarithm of a round number that is not above a value."""
    return float(np.floor(3 * np.log10(value)) / 3)


def _frame(axes, scene) -> None:
    side.frame(axes["side"], scene.stage)
    main, used, held = axes["main"], axes["used"], scene.span
    main.set(xscale="log", yscale="log", xlim=(10**-held.least_push, held.push), ylim=(10**-held.least_torque, held.torque))
    main.set(xlabel="push, torque at the crank / N·m", ylabel="motor torque commanded / N·m")
    for axis in (main.xaxis, main.yaxis):
        axis.set_major_formatter(lambda value, _: f"{value:g}")
        axis.set_minor_formatter(lambda value, _: "")
    main.set_title("What a push becomes")
    used.set(xlim=(0, MOST), ylim=(len(STAGES) - 0.4, -0.6), xlabel="hardest push over limit / %", title="Room in each stage")
    used.set_yticks(range(len(STAGES)), list(STAGES))
    used.set_xticks([0, 50, 100, 150])
    used.grid(axis="y", visible=False)


def _marks(axes, scene) -> None:
    side.marks(axes["side"], scene.machine, scene.stage)
    _push(axes["main"], scene.main)
    _used(axes["used"], scene.main, scene.more)


def _push(main, result) -> None:
    (left, right), (bottom, top) = main.get_xlim(), main.get_ylim()
    push, floor = result.push, 0.5 * bottom  # what commands nothing is drawn below the axis
    if result.phantom > 0:
        ends = np.array([left, right])
        pen.area(main, ends, floor, result.phantom, style.ORANGE, style.HATCHES[2])
    pen.line(main, push, np.maximum(result.ideal, floor), color=style.QUIET, linewidth=1.2, linestyle=(0, (1, 1.6)))
    for value, index in ((result.resisting, 1), (result.driving, 0)):
        pen.line(main, push, np.maximum(value, floor), **style.line(index))
    for level, index in ((result.lean_torque, 2), (result.trim_step, 5)):
        pen.line(main, [left, right], [level, level], **(style.line(index) | {"linewidth": 1.1}))
    _levels(main, result)
    pen.line(main, [result.peak, result.peak], [bottom, top], color=style.INK, linewidth=1.0, linestyle=(0, (2, 2)))
    pen.words(main, result.peak, bottom, "hardest push ", style.INK, 0.8, rotation=90, ha="right", va="bottom", paper=style.PAPER)
    if result.dead_band > left:
        pen.words(main, result.dead_band, bottom, "dead band ", style.BLUE, 0.8, rotation=90, ha="right", va="bottom", paper=style.PAPER)
    _plateaus(main, result)
    answered = max(result.answered, bottom)
    pen.line(main, [result.looked, result.looked], [bottom, answered], color=style.INK, linewidth=0.9)
    pen.line(main, result.looked, answered, marker="o", color=style.INK, markersize=7, clip_on=False)
    text = f"{result.looked:.3g} N·m\ngive {result.answered:.3g} N·m"
    pen.words(main, 0.02, 0.98, text, style.INK, 0.95, va="top", transform=main.transAxes, paper=style.PAPER)


def _levels(main, result) -> None:
    """Names of the levels at the left, where a dead band leaves room, moved apart where they would meet."""
    left = main.get_xlim()[0]
    levels = [(result.lean_torque, "0.1° of lean", style.GREEN), (result.trim_step, "trim step", style.INK)]
    if result.phantom > 0:
        levels.append((result.phantom, "nobody pushed this", style.ORANGE))
    levels = [one for one in levels if one[0] > 0]
    size = 0.85 * 10 * main.figure.dpi / 72
    below = np.array([size if color == style.ORANGE else 0.0 for *_, color in levels])  # the area's name stands in the area
    pixels = main.transData.transform([(left, level) for level, *_ in levels])[:, 1] - below
    places = style.apart(pixels, 1.35 * size, main.bbox.y0, main.bbox.y1)
    for (_, text, color), place in zip(levels, places, strict=True):
        at = main.transData.inverted().transform((0, place))[1]
        pen.words(main, 0.015, at, text, color, 0.85, transform=main.get_yaxis_transform(), paper=style.PAPER)


def _plateaus(main, result) -> None:
    """What ends either answer, written at its end: the higher one above its level, the lower one below it."""
    ends = [
        (float(result.driving[-1]), f"driving: {result.ended_by}", style.BLUE),
        (float(result.resisting[-1]), f"back: {result.ended_back_by}", style.VERMILION),
    ]
    if pen.is_narrow(main):  # no room beside the ends: both in the free corner above the curves
        for (_, text, color), height in zip(ends, (0.77, 0.69), strict=True):
            pen.words(main, 0.02, height, text, color, 0.8, transform=main.transAxes, paper=style.PAPER)
        return
    ends.sort(key=lambda end: end[0])
    for (level, text, color), up in zip(ends, (False, True), strict=True):
        if level > 0:
            spot, anchor = (1.12 * level, "bottom") if up else (level / 1.12, "top")
            pen.words(main, 0.985, spot, text, color, 0.85, ha="right", va=anchor, transform=main.get_yaxis_transform(), paper=style.PAPER)


def _used(used, result, stages) -> None:
    place = {name: number for number, name in enumerate(stages.stage)}
    strength = float(np.fmin(result.overload, result.fatigue))
    rows, both = np.arange(len(STAGES)), []
    for shares in (stages.used, stages.used_back):
        values = [1 / strength if name is None else float(shares[place[name]]) for name in STAGES.values()]
        both.append(np.nan_to_num(100 * np.array(values)))
    for values, color, shift in zip(both, (style.BLUE, style.VERMILION), (-0.2, 0.2), strict=True):
        pen.bars(used, rows + shift, np.minimum(values, MOST), color, 0.34)
    pen.line(used, [100, 100], [-0.6, len(STAGES) - 0.4], color=style.INK, linewidth=1.2)
    for row, values in enumerate(np.array(both).T):
        for value, color, shift in zip(values, (style.BLUE, style.VERMILION), (-0.2, 0.2), strict=True):
            text = f"{value:.0f}" if value > 0 else "unknown" if row == 0 else ""
            at = min(value, MOST) + 3
            inside = at > 0.85 * MOST
            pen.words(used, at - 6 if inside else at, row + shift, text, color, 0.78, ha="right" if inside else "left", paper=style.PAPER)


picture = Picture(
    _frame,
    _marks,
    mosaic=[["side", "main", "used"]],
    ratios=[0.8, 1.9, 1.0],
    bare=("side",),
    margins={"left": 0.1, "right": 0.2, "columns": 1.0},
    narrow_margins={"left": 1.0, "right": 0.2},
    span=lambda scene: scene.key,
    text="Motor torque commanded over push, both logarithmic: dead band, steps, what ends it, and the torque of a drifted zero; "
    "beside it the share of each stage that the hardest push uses, driving and holding back",
)
