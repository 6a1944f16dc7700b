"""A small study and its picture, for the tests of the panel mechanism."""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from unikit.formulas import checks
from unikit.lab import style
from unikit.lab.controls import Choice, Control
from unikit.lab.picture import Picture


@dataclass(frozen=True)
class Swing:
    """A damped swing over time."""

    time: np.ndarray
    values: np.ndarray
    rate: float
    side: str

    def summary(self):
        return {"Rate": f"{self.rate:.3f} rad/s", "Greatest <swing>": f"{np.max(self.values):.2f} m"}

    def table(self):
        return pd.DataFrame({"time / s": self.time, "swing / m": self.values})


def study(rate, height, share, side):
    if rate > 15 and share > 0.9:
        raise ValueError("rate and share are too great together: <nothing> swings so")
    checks.warn_outside("height", height, 0.0, 1.5, "the demo")
    time = np.linspace(0, 10, 400)
    sign = {"left": 1, "right": -1}[side]
    return Swing(time, sign * height * np.exp(-share * time) * np.cos(rate * time), rate, side)


def frame(axes, result):
    axes.set(xlim=(0, 10), ylim=(-2, 2), xlabel="Time / s", ylabel="Swing / m", title="A swing that dies away")
    axes.axhline(0, color=style.QUIET, linewidth=1)


def marks(axes, result):
    envelope = np.abs(result.values)
    style.hatch_between(axes, result.time, 0, envelope, style.ORANGE)
    axes.plot(result.time, result.values, **style.line(0))
    axes.plot(result.time, envelope, **style.line(1))
    style.label_curve(axes, result.time, result.values, f"swing to the {result.side}", at=3.0, color=style.BLUE)
    style.note(axes, 7, 1.5, f"{result.rate:.2f} rad/s")


def picture():
    return Picture(frame, marks, text="Swing over time, dying away")


def pair_frame(axes, result):
    frame(axes["near"], result)
    axes["far"].set(xlim=(0, 1), ylim=(-2, 2), xlabel="Share")


def pair_marks(axes, result):
    marks(axes["near"], result)
    axes["far"].plot([0, 1], [0, result.values[0]])
    axes["far"].fill_between([0, 1], [0, 0], [0, result.values[0]], color=style.SKY, alpha=0.3)
    axes["far"].legend(["start"], loc="lower right")
    style.label_ends(axes["far"], [([0, 1], [0, 1], "one", style.BLUE), ([0, 1], [0, 1.01], "two", style.GREEN)])


def pair():
    return Picture(pair_frame, pair_marks, mosaic=[["near", "far"]], ratios=[2, 1], margins={"right": 0.8})


CONTROLS = (
    Control("rate", "Rate", "rpm", 10, 160, 5, "rotation"),
    Control("height", "Height", "mm", 100, 2000, 50, "length"),
    Control("share", "Damping", "%", 0, 100, 1, "ratio"),
    Choice("side", "Side", ("left", "right")),
)
START = {"rate": "60 rpm", "height": 1.0, "share": 0.1, "side": "left"}
