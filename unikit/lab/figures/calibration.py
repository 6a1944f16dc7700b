"""Weights on a crank: how far the sensor is off its line, on the way up and down, cold and warm; and a series that was predicted."""

from __future__ import annotations

import numpy as np

from .. import style
from ..picture import Picture
from . import pen

APART = 5.0  # K between cold and warm series, below which there is one temperature only
WAYS = ((False, "^", style.BLUE, 0), (True, "v", style.VERMILION, 1))
PLACES = ("cold", "warm")


def _groups(result) -> dict[str, list]:
    """The series of each axes: colder and warmer than the middle, or all of them cold."""
    means = [one.temperature for one in result.series]
    middle = (min(means) + max(means)) / 2 if max(means) - min(means) >= APART else np.inf
    return {
        "cold": [one for one in result.series if one.temperature <= middle],
        "warm": [one for one in result.series if one.temperature > middle],
    }


def _span(result) -> tuple[float, float]:
    """Ends of both axes: greatest torque and greatest deviation."""
    off = max(float(np.max(np.maximum(np.abs(one.deviation), np.abs(one.expected) + one.half_band))) for one in result.series)
    return pen.nice(1.04 * result.full_scale), pen.nice(1.3 * off)


def _frame(axes, result) -> None:
    across, half = _span(result)
    groups = _groups(result)
    for place in PLACES:
        one = axes[place]
        one.set(xlim=(-across, across), ylim=(-half, half), xlabel="torque of the weights, + forward / N·m")
        one.axhline(0, color=style.INK, linewidth=1.0)
        one.axvline(0, color=style.GRID, linewidth=1.0)
        found = groups[place]
        if found:
            celsius = [series.temperature - 273.15 for series in found]
            ends = f"{min(celsius):.0f}" if round(min(celsius)) == round(max(celsius)) else f"{min(celsius):.0f} to {max(celsius):.0f}"
            one.set_title(f"{place.capitalize()}: {ends} °C")
        else:
            one.set_title("No other temperature")
    axes["cold"].set_ylabel("output less line / N·m")


def _branch(found: list, side: str, down: bool) -> tuple[np.ndarray, ...]:
    """Mean torque, fitted loop and half band of a way on one side, reading by reading; empty where there is none of a common plan."""
    chosen = [one for one in found if one.side == side]
    if not chosen or len({len(one.torque) for one in chosen}) > 1:
        return ()
    turn = int(np.argmax(np.abs(chosen[0].torque)))
    rows = slice(turn, None) if down else slice(0, turn + 1)
    if down and not chosen[0].unloading.any():
        return ()
    return tuple(np.mean([getattr(one, name)[rows] for one in chosen], axis=0) for name in ("torque", "expected", "half_band"))


def _marks(axes, result) -> None:
    across, half = _span(result)
    for place, found in _groups(result).items():
        one = axes[place]
        for down, marker, color, hatch in WAYS:
            for side in ("forward", "backward"):
                branch = _branch(found, side, down)
                if branch:
                    torque, expected, band = branch
                    order = np.argsort(torque)
                    torque, expected, band = torque[order], expected[order], band[order]
                    pen.area(one, torque, expected - band, expected + band, color, style.HATCHES[hatch])
                    pen.line(one, torque, expected, **(style.line(hatch) | {"linewidth": 1.4}))
            for series in found:
                rows = series.unloading == down
                look = {"linestyle": "", "marker": marker, "markersize": 5, "color": color, "markeredgewidth": 0.8}
                wild = np.abs(series.standardised) > 4
                pen.line(one, series.torque[rows], series.deviation[rows], markerfacecolor=style.GROUND, **look)
                if np.any(rows & wild):
                    pen.line(one, series.torque[rows & wild], series.deviation[rows & wild], **(look | {"markersize": 9}))
            if found:
                height = (-0.93 if down else 0.93) * half
                if any(series.unloading.any() for series in found) or not down:
                    arrow = "▼" if down else "▲"
                    text = f"{arrow} weights taken off" if down else f"{arrow} weights hung on"
                    pen.words(one, -0.96 * across, height, text, color, 0.95, paper=style.PAPER)
        if found:
            pen.words(one, 0.96 * across, 0.93 * half, "band: 95 %", style.QUIET, 0.9, ha="right", paper=style.PAPER)
        else:
            pen.words(one, 0.0, 0.5 * half, "drift is not identified", style.QUIET, 1.0, ha="center", paper=style.PAPER)


picture = Picture(
    _frame,
    _marks,
    mosaic=[["cold", "warm"]],
    margins={"left": 0.80, "right": 0.18, "columns": 0.62},
    narrow_margins={"left": 0.80, "right": 0.15},
    span=_span,
    text="What the sensor reads beyond its fitted line over the torque of the weights, cold and warm: the loop of the way up and "
    "the way down with bands of 95 %, and every reading",
)


def _ends(prediction) -> tuple[float, float]:
    """Ends of both axes of a prediction."""
    off = [np.max(np.abs(one - prediction.expected)) for one in (prediction.measured, prediction.low)]
    return pen.nice(1.04 * float(np.max(np.abs(prediction.torque)))), pen.nice(1.3 * float(max(off)))


def _prediction_frame(axes, prediction) -> None:
    across, half = _ends(prediction)
    forward = float(np.sum(prediction.torque)) > 0
    axes.set(xlim=(0, across) if forward else (-across, 0), ylim=(-half, half), xlabel="torque of the weights / N·m")
    axes.set_ylabel("measured less predicted / N·m")
    axes.set_title(f"Left out: {prediction.name.replace('_', ' ')}")
    axes.axhline(0, color=style.INK, linewidth=1.0)


def _prediction_marks(axes, prediction) -> None:
    across, half = _ends(prediction)
    left = axes.get_xlim()[0] + 0.03 * across
    order = np.argsort(prediction.torque[~prediction.unloading])
    torque = prediction.torque[~prediction.unloading][order]
    low, high = ((one - prediction.expected)[~prediction.unloading][order] for one in (prediction.low, prediction.high))
    pen.area(axes, torque, low, high, style.GREEN, style.HATCHES[2])
    for end in (low, high):
        pen.line(axes, torque, end, color=style.GREEN, linewidth=1.2)
    for down, marker, color, _ in WAYS:
        rows = prediction.unloading == down
        off = (prediction.measured - prediction.expected)[rows]
        pen.line(axes, prediction.torque[rows], off, linestyle="", marker=marker, markersize=6, color=color, markeredgewidth=0)
    pen.words(axes, left, 0.93 * half, "95 % of prediction", style.GREEN, 1.0, paper=style.PAPER)
    share = f"measured: {100 * prediction.inside_share:.0f} % inside"
    size = 0.85 if pen.is_narrow(axes) else 1.0
    pen.words(axes, left, -0.93 * half, share, style.INK, size, paper=style.PAPER)
    pen.words(axes, left + 0.94 * across, 0.93 * half, "▲ up", style.BLUE, size, ha="right", paper=style.PAPER)
    pen.words(axes, left + 0.94 * across, -0.93 * half, "▼ down", style.VERMILION, size, ha="right", paper=style.PAPER)


prediction = Picture(
    _prediction_frame,
    _prediction_marks,
    span=_ends,
    margins={"left": 0.90},
    narrow_margins={"left": 0.86, "right": 0.15},
    text="A series of weights that was left out of the fit: its readings less the prediction, over the 95 % prediction interval",
)
