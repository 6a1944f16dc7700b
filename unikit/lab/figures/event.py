"""Event: lean and torques after a bump, a gust, a slope or a lost motor, until the fall where there is one."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from .. import style
from ..picture import Picture
from . import pen, side

BEFORE = 0.3  # seconds of the steady ride that are shown before the event
END = 4.0
LEANS = (2.0, 4.0, 8.0, 16.0, 32.0)  # degrees
ABOVE = 1.75  # room over the curves for the words, in ends of the axis


class Span(NamedTuple):
    """Ends of the axes: degrees, and newton metres."""

    lean: float
    torque: float


def span(scene, least: Span | None = None) -> Span:
    """Leans in both directions, and the torques of pedals and motor."""
    result = scene.main
    lean = np.degrees(_greatest([curve for curve, *_ in _leans(result)], abs(result.steady_lean)))
    torque = _greatest([curve for curve, *_ in _torques(result)], max(abs(result.steady_pedal_torque), abs(result.steady_motor_torque)))
    needed = Span(next((end for end in LEANS if end >= 0.98 * lean), LEANS[-1]), pen.nice(1.05 * torque))
    return needed if least is None else Span(*map(max, needed, least))


def _greatest(curves, least: float) -> float:
    sizes = np.abs(np.concatenate(curves))
    return float(np.max(sizes[np.isfinite(sizes)], initial=least))


def _leans(result):
    return (
        (result.lean_ungeared, "ungeared", 5, result.outcome_ungeared),
        (result.lean_beside, result.beside, 1, result.outcome_beside),
        (result.lean, "as built", 0, result.outcome),
    )


def _torques(result):
    return (
        (result.pedal_torque_ungeared, "", 5, ""),
        (result.pedal_torque_beside, "", 1, ""),
        (result.motor_torque, "motor, at the wheel", 2, ""),
        (result.pedal_torque, "pedals, at the crank", 0, ""),
    )


def _frame(axes, scene) -> None:
    side.frame(axes["side"], scene.stage)
    lean, torque, held = axes["lean"], axes["torque"], scene.span
    lean.set(xlim=(-BEFORE, END), ylim=(-held.lean, ABOVE * held.lean), xlabel="time / s", ylabel="lean forward / °", title="Lean")
    torque.set(xlim=(-BEFORE, END), ylim=(-held.torque, ABOVE * held.torque), xlabel="time / s", ylabel="torque / N·m", title="Torques")
    for one in (lean, torque):
        one.axhline(0, color=style.QUIET, linewidth=1)
        one.axvline(0, color=style.QUIET, linewidth=1)


def _marks(axes, scene) -> None:
    side.marks(axes["side"], scene.machine, scene.stage)
    result, lean, torque = scene.main, axes["lean"], axes["torque"]
    past = [-BEFORE, 0.0]
    pen.line(lean, past, [np.degrees(result.steady_lean)] * 2, color=style.INK, linewidth=2)
    pen.line(torque, past, [result.steady_pedal_torque] * 2, **style.line(0))
    if scene.machine.motor_diameter:
        pen.line(torque, past, [result.steady_motor_torque] * 2, **style.line(2))
    rows = []
    for curve, name, index, outcome in _leans(result):
        _course(lean, result.time, np.degrees(curve), index)
        if np.isfinite(curve).any() or scene.later is not None:
            rows.append((f"{name}: {_short(outcome)}", index))
    motor = result.motor_torque
    there = np.isfinite(motor)
    if scene.machine.motor_diameter and there.sum() > 1:
        pen.area(torque, result.time[there], 0.0, motor[there], style.GREEN, style.HATCHES[2])
    for curve, _, index, _ in _torques(result):
        if index != 2 or scene.machine.motor_diameter:
            _course(torque, result.time, curve, index)
    for row, (text, index) in enumerate(reversed(rows)):
        _words(lean, row, text, style.LINES[index]["color"])
    named = [(name, index) for _, name, index, _ in _torques(result) if name and (index != 2 or scene.machine.motor_diameter)]
    for row, (text, index) in enumerate(reversed(named)):
        _words(torque, row, text, style.LINES[index]["color"])
    _words(torque, len(named), f"{result.event}: {result.size}", style.INK)


def _course(axes, time, curve, index: int) -> None:
    """A curve, with a cross where it ends in a fall."""
    there = np.flatnonzero(np.isfinite(curve))
    if there.size < 2:
        return
    pen.line(axes, time[there], curve[there], **style.line(index))
    if there[-1] < len(time) - 1:
        pen.line(axes, time[there[-1]], curve[there[-1]], marker="x", markersize=9, markeredgewidth=2.2, color=style.LINES[index]["color"])


def _short(outcome: str) -> str:
    """The outcome in few words."""
    for whole, part in ((" at every crank angle", ""), ("being computed", "computing …"), ("falls after", "falls at")):
        outcome = outcome.replace(whole, part)
    return outcome.partition(" at the worst")[0]


def _words(axes, row: int, text: str, color: str) -> None:
    pen.words(axes, 0.02, 0.95 - 0.075 * row, text, color, 0.9, transform=axes.transAxes, paper=style.PAPER)


picture = Picture(
    _frame,
    _marks,
    mosaic=[["side", "lean", "torque"]],
    ratios=[1.0, 1.4, 1.4],
    bare=("side",),
    margins={"left": 0.1, "right": 0.15, "columns": 0.78},
    narrow_margins={"left": 0.72, "right": 0.15},
    span=lambda scene: scene.key,
    text="Lean and torques over time after an event at the worst crank angle, as built, with the motor off and on the ungeared wheel; "
    "a cross ends the curve of a fall",
)
