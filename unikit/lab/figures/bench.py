"""Bench: every run in a column of its own, measured and fitted above, what is left below; and a run that was predicted."""

from __future__ import annotations

import numpy as np

from .. import style
from ..picture import Picture
from . import pen

BAND = 1.96  # standard deviations on either side that hold 95 of 100 residuals
LEAST = 4.0  # half of the axis of residuals, in standard deviations, at least
EDGE = 0.1  # of a column on either side
TEXT_ROOM = 0.75  # above the curves, in heights of the greatest reading
NARROW_ROOM = 1.4
KINDS = ("resistance", "spun", "no load", "stall")
WORDS = {
    "line_resistance": "line resistance",
    "direct_voltage": "lead voltage",
    "line_voltage_rms": "line voltage",
    "drive_torque": "drive torque",
    "drive_power": "drive power",
    "direct_current": "bus current",
    "phase_current_rms": "phase current",
    "phase_current_peak": "phase current",
    "force": "lever force",
}


def _span(result) -> float:
    """Half of the axis of residuals."""
    return max(LEAST, pen.nice(max(float(np.max(np.abs(one.standardised))) for one in result.runs)))


def _across(run) -> np.ndarray:
    """Where the readings of a run stand within its column."""
    return EDGE + (1 - 2 * EDGE) * (run.at - run.at.min()) / max(np.ptp(run.at), 1e-9)


def _frame(axes, result) -> None:
    curves, left, count, half = axes["curves"], axes["left"], len(result.runs), _span(result)
    narrow = pen.is_narrow(curves)
    for one in (curves, left):
        one.set(xlim=(0, count), xticks=np.arange(count + 1), xticklabels=[])
        one.grid(axis="y", visible=False)
    room = NARROW_ROOM if narrow else TEXT_ROOM
    curves.set(ylim=(0, 1.05 + room), yticks=[0, 0.5, 1], yticklabels=["0", "½", "1"], ylabel="share of greatest")
    curves.yaxis.set_label_coords(-0.13 if narrow else -0.05, 0.5 * 1.05 / (1.05 + room))
    curves.set_title("Measured and fitted, run by run")
    left.set(ylim=(-half, half), ylabel="standard deviations")
    left.set_title("What is left" if narrow else "What is left: 95 of 100 readings belong into the band")
    left.axhline(0, color=style.INK, linewidth=1.0)
    style.hatch_between(left, np.array([0.0, count]), -BAND, BAND, style.QUIET)


def _marks(axes, result) -> None:
    curves, left = axes["curves"], axes["left"]
    narrow = pen.is_narrow(curves)
    for column, run in enumerate(result.runs):
        look = style.line(KINDS.index(run.kind))
        across, most = column + _across(run), max(float(np.max(np.abs(run.measured))), 1e-12)
        dots = {"linestyle": "", "marker": "o", "markersize": 3.5 if narrow else 4.5, "color": look["color"], "markeredgewidth": 0}
        pen.line(curves, across, run.fitted / most, color=look["color"], linewidth=1.2)
        pen.line(curves, across, run.measured / most, **dots)
        pen.line(left, across, run.standardised, **dots)
        name, what = run.run.replace("_", " "), WORDS[run.quantity]
        if narrow:
            text = f"{what}\n{name}, to {run.most_text}"
            pen.words(curves, column + 0.5, 1.12, text, look["color"], 0.78, ha="center", va="bottom", rotation=90)
        else:
            text = f"{what}\nto {run.most_text}\n{name}\n{run.over_text}"
            pen.words(curves, column + 0.5, 1.08 + TEXT_ROOM / 2, text, look["color"], 0.82, ha="center")


picture = Picture(
    _frame,
    _marks,
    size=(8.6, 5.4),
    mosaic=[["curves"], ["left"]],
    margins={"left": 0.66, "right": 0.12, "bottom": 0.14, "top": 0.36, "rows": 0.46},
    narrow_margins={"left": 0.60, "right": 0.10, "bottom": 0.14, "top": 0.40, "rows": 0.50},
    narrow_heights=(3.9, 2.8),
    span=_span,
    text="Each run of the bench in a column: readings and fitted curve, and below them the standardised residuals with the band of 95 %",
)


def _axis(prediction) -> tuple[float, float]:
    """Right end of the axis, and half of the upright one."""
    off = [np.max(np.abs(prediction.shown(name) - prediction.shown("expected"))) for name in ("measured", "low")]
    return pen.nice(1.02 * float(np.max(prediction.shown("at")))), pen.nice(1.25 * float(max(off)))


def _prediction_frame(axes, prediction) -> None:
    across, half = _axis(prediction)
    over, what = prediction.over.replace("_", " "), WORDS[prediction.quantity]
    axes.set(xlim=(0, across), ylim=(-half, half), xlabel=f"{over} / {prediction.over_unit}")
    axes.set(ylabel=f"{what} less predicted / {prediction.unit}")
    axes.set_title(f"Left out: {prediction.run.replace('_', ' ')}")
    axes.axhline(0, color=style.INK, linewidth=1.0)


def _prediction_marks(axes, prediction) -> None:
    across, half = _axis(prediction)
    at, expected = prediction.shown("at"), prediction.shown("expected")
    low, high, off = (prediction.shown(name) - expected for name in ("low", "high", "measured"))
    pen.area(axes, at, low, high, style.BLUE, style.HATCHES[0])
    for end in (low, high):
        pen.line(axes, at, end, **(style.line(0) | {"linewidth": 1.2}))
    pen.line(axes, at, off, linestyle="", marker="o", markersize=6, color=style.VERMILION, markeredgewidth=0)
    pen.words(axes, 0.03 * across, 0.97 * half, "95 % of prediction", style.BLUE, 1.0, va="top", paper=style.PAPER)
    share = f"measured: {100 * prediction.inside_share:.0f} % inside"
    pen.words(axes, 0.03 * across, -0.97 * half, share, style.VERMILION, 1.0, va="bottom", paper=style.PAPER)


prediction = Picture(
    _prediction_frame,
    _prediction_marks,
    span=_axis,
    margins={"left": 0.90},
    narrow_margins={"left": 0.86, "right": 0.15},
    text="A run that was left out of the fit: its readings less the prediction, over the 95 % prediction interval",
)
