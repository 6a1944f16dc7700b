"""Rider: how much of the pedal torque stays unexplained at each delay, and predicted against measured torque."""

from __future__ import annotations

import numpy as np

from .. import style
from ..picture import Picture
from . import pen

WIDTH = 4.5  # half the width of the profile, in lengths of the interval on one side, at least
MOST = 12.0  # height of the profile: excess at which a delay is out of the question
END = 3.84  # of the 95 % interval
POINTS = 2500


def _span(result) -> tuple[float, float, float]:
    """Ends of the delay axis in ms, and of the torque axes in newton metres."""
    half = max(result.delay_high - result.delay, result.delay - result.delay_low)
    wide = pen.nice(1e3 * WIDTH * half)
    middle = 1e3 * result.delay
    torque = pen.nice(float(np.max(np.abs(result.fit.answer + result.fit.remainder))))
    return middle - wide, middle + wide, torque


def _frame(axes, result) -> None:
    low, high, torque = _span(result)
    profile, scatter = axes["profile"], axes["scatter"]
    profile.set(xlim=(low, high), ylim=(0, MOST), xlabel="reaction delay / ms", ylabel="twice the loss of log likelihood")
    profile.set_title("How well each delay fits")
    scatter.set(xlim=(-torque, torque), ylim=(-torque, torque), xlabel="measured pedal torque / N·m", ylabel="predicted / N·m")
    scatter.set_title("What lean explains")
    profile.axhline(END, color=style.QUIET, linewidth=1.0, linestyle=(0, (4, 2)))


def _marks(axes, result) -> None:
    low, high, torque = _span(result)
    profile, scatter, fit = axes["profile"], axes["scatter"], result.fit
    delay, excess = 1e3 * fit.profile_delay, fit.profile_excess
    ends = 1e3 * np.array([result.delay_low, result.delay_high])
    inside = np.linspace(*ends, 60)
    pen.area(profile, inside, np.interp(inside, delay, excess), END, style.GREEN, style.HATCHES[0])
    pen.line(profile, delay, np.minimum(excess, 2 * MOST), **style.line(0))
    for end in ends:
        pen.line(profile, [end, end], [0, END], color=style.GREEN, linewidth=1.6, linestyle=(0, (1.5, 1.5)))
    pen.line(profile, 1e3 * result.delay, 0, marker="s", color=style.VERMILION, markersize=8, clip_on=False)
    text = f"{1e3 * result.delay:.1f} ms\n95 %:\n{ends[0]:.1f} to\n{ends[1]:.1f} ms"
    pen.words(profile, high - 0.02 * (high - low), 0.68 * MOST, text, style.VERMILION, 1.0, ha="right", paper=style.PAPER)
    pen.words(profile, low + 0.01 * (high - low), END, "end of 95 %", style.QUIET, va="bottom")
    measured = fit.answer + fit.remainder
    chosen = slice(None, None, max(1, len(measured) // POINTS))
    pen.line(scatter, [-torque, torque], [-torque, torque], color=style.INK, linewidth=1.2, linestyle=(0, (4, 2)))
    options = {"linestyle": "", "marker": ".", "markersize": 3, "alpha": 0.45, "color": style.BLUE, "markeredgewidth": 0}
    pen.line(scatter, measured[chosen], fit.answer[chosen], **options)
    share = f"{100 * result.explained:.0f} % explained\n{result.remnant:.1f} N·m left"
    pen.words(scatter, 0.03, 0.97, share, style.BLUE, 1.0, va="top", transform=scatter.transAxes, paper=style.PAPER)


picture = Picture(
    _frame,
    _marks,
    mosaic=[["profile", "scatter"]],
    ratios=[1.25, 1.0],
    narrow_margins={"left": 0.72, "right": 0.15},
    text="Loss of log likelihood over the reaction delay with its 95 % interval; beside it predicted over measured pedal torque",
)
