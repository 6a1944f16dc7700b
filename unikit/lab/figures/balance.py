"""Balance: the gain axis from toppling to onset, how likely each gain is inside, and how late the assist may be."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from .. import style
from ..picture import Picture
from . import pen, side

MS = 1000.0
DEAD_TIMES = (20.0, 50.0, 100.0, 200.0)  # ends of the dead-time axis, milliseconds


class Span(NamedTuple):
    """Ends of the axes: assist gain, and dead time in milliseconds."""

    gain: float
    dead_time: float


def span(scene, least: Span | None = None) -> Span:
    """The gains that were looked at, and dead times to where the last of them is no longer stable."""
    budgets = scene.main.budget_over_gain
    longest = float(np.max(budgets[np.isfinite(budgets)], initial=0.0))
    needed_time = min(MS * max(2.0 * scene.main.dead_time, 1.05 * longest), DEAD_TIMES[-1])
    needed = Span(pen.nice(float(scene.main.gain[-1])), next(end for end in DEAD_TIMES if end >= needed_time))
    return needed if least is None else Span(*map(max, needed, least))


def _frame(axes, scene) -> None:
    side.frame(axes["side"], scene.stage)
    main, late, held = axes["main"], axes["late"], scene.span
    main.set(xlim=(0, 100), ylim=(0, held.gain), xlabel="chance, or margin over ungeared / %", ylabel="assist gain")
    main.set_title("Between toppling and onset")
    late.set(xlim=(0, held.dead_time), ylim=(0, held.gain), xlabel="dead time / ms")
    late.set_title("How late it may be")
    if pen.is_narrow(main):
        late.set_ylabel("assist gain")
    else:
        late.tick_params(labelleft=False)


def _marks(axes, scene) -> None:
    side.marks(axes["side"], scene.machine, scene.stage)
    main, late, result, chance, held = axes["main"], axes["late"], scene.main, scene.more, scene.span
    gain = result.gain
    if chance is not None:
        pen.area_across(main, chance.gain, 0, 100 * chance.inside, style.GREEN, style.HATCHES[1])
        pen.line(main, 100 * chance.inside, chance.gain, **style.line(2))
    free = result.vector_ungeared
    share = 100 * np.clip(result.vector_over_gain / free, 0, 1) if free > 0 else 0 * gain
    stable = share > 0
    pen.line(main, share[stable], gain[stable], **style.line(0))
    _edges(main, late, result, held)
    _settings(main, late, result, chance)
    budget = np.clip(MS * result.budget_over_gain, 0, held.dead_time)
    pen.area_across(late, gain, 0, budget, style.BLUE, style.HATCHES[0])
    words = [("chance of being inside", style.GREEN), ("margin of the middle rider", style.BLUE)]
    for row, (text, color) in enumerate(words[chance is None :]):
        pen.words(main, 0.98, 0.98 - 0.075 * row, text, color, 0.9, ha="right", va="top", transform=main.transAxes, paper=style.PAPER)
    if chance is None and scene.later is not None:
        pen.words(main, 0.98, 0.9, "chance: computing …", style.QUIET, 0.9, ha="right", va="top", transform=main.transAxes)
    if not stable.any():
        pen.words(
            main,
            0.5,
            0.5,
            "no gain holds\nthe middle rider",
            style.VERMILION,
            1.0,
            ha="center",
            transform=main.transAxes,
            paper=style.PAPER,
        )
    elif budget.max() > 0:
        place = int(np.argmax(budget))
        pen.words(late, 0.08 * held.dead_time, gain[place], "stable", style.BLUE, 0.9, paper=style.PAPER)


def _edges(main, late, result, held: Span) -> None:
    """Toppling and onset gain across both axes, with what happens there: written inside a wide window, outside a narrow one."""
    wide = result.onset_gain - result.toppling_gain > 0.25 * held.gain
    edges = (
        (result.toppling_gain, result.toppling_frequency, "toppling", "bottom" if wide else "top"),
        (result.onset_gain, result.onset_frequency, "oscillating", "top" if wide else "bottom"),
    )
    for gain, frequency, text, anchor in edges:
        if not 0 < gain <= held.gain:
            continue
        for axes, end in ((main, 100), (late, held.dead_time)):
            pen.line(axes, [0, end], [gain, gain], color=style.VERMILION, linewidth=1.4, linestyle=(0, (6, 2)))
        shift = (-0.012 if anchor == "top" else 0.012) * held.gain
        pen.words(main, 98, gain + shift, f"{text}, {frequency:.1f} Hz", style.VERMILION, 0.9, ha="right", va=anchor, paper=style.PAPER)


def _settings(main, late, result, chance) -> None:
    """The gains as set, the restoring gain and the recommended one, written on the gain axis."""
    marks = [(result.restoring_gain, "restores", style.PURPLE, "_")]
    recommended = result.best_gain if chance is None else chance.recommended_gain
    if np.isfinite(recommended):
        marks.append((recommended, "recommended", style.GREEN, "_"))
    if result.driving_gain == result.resisting_gain:
        marks.append((result.driving_gain, "as set", style.INK, "o"))
    else:
        marks += [(result.driving_gain, "set, driving", style.INK, "o"), (result.resisting_gain, "set, resisting", style.INK, "s")]
    top = main.get_ylim()[1]
    shown = [mark for mark in marks if 0 <= mark[0] <= top]
    for gain, _, color, marker in shown:
        wide = {"markersize": 22, "markeredgewidth": 2.2} if marker == "_" else {"markersize": 7}
        pen.line(main, 0, gain, marker=marker, color=color, linestyle="", clip_on=False, **wide)
        if marker != "_":
            pen.line(late, 1000.0 * result.dead_time, gain, marker=marker, color=color, linestyle="", markersize=7)
    low, high = main.bbox.y0, main.bbox.y1
    pixels = main.transData.transform([(0, gain) for gain, *_ in shown])[:, 1]
    size = 0.9 * main.figure.dpi * 10 / 72
    places = style.apart(pixels, 1.3 * size, low, high)
    for (_, text, color, _), place in zip(shown, places, strict=True):
        pen.words(main, 5, main.transData.inverted().transform((0, place))[1], text, color, 0.9, paper=style.PAPER)


picture = Picture(
    _frame,
    _marks,
    mosaic=[["side", "main", "late"]],
    ratios=[1.0, 1.75, 0.85],
    bare=("side",),
    margins={"left": 0.1, "right": 0.15, "columns": 0.62},
    narrow_margins={"left": 0.72, "right": 0.15},
    span=lambda scene: scene.key,
    text="Assist gain upwards: chance of being inside the window and margin over the ungeared wheel; beside it the dead time at which each "
    "gain is no longer stable",
)
