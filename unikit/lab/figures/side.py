"""The side view: the machine to scale on its slope, and a push of 100 N followed to the road."""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes
from matplotlib.patches import Circle, Ellipse
from matplotlib.transforms import Affine2D

from .. import style
from ..picture import Picture

WIDE = (-0.72, 0.98)
HIGH = (-1.16, 1.62)
NEWTON = 0.0105  # metres of arrow for a newton at the road


def frame(axes: Axes) -> None:
    """An empty stage in metres, equal both ways, the axle at the origin."""
    axes.set(xlim=WIDE, ylim=HIGH, aspect="equal", title="100 N on the pedal, at the road")
    axes.set_axis_off()


def marks(axes: Axes, machine) -> None:
    """Wheel, cranks, rider and road, and three arrows for what reaches the road."""
    radius, crank, saddle = machine.wheel_radius, machine.crank_length, machine.saddle_height
    angle = np.arctan(machine.slope)
    road = Affine2D().rotate(angle) + axes.transData
    ink = {"color": style.INK, "linewidth": 1.6, "solid_capstyle": "round"}
    axes.plot([-1.2, 1.2], [-radius, -radius], color=style.QUIET, linewidth=2.2, transform=road)
    axes.add_patch(Circle((0, 0), radius, fill=False, edgecolor=style.INK, linewidth=3.0))
    axes.add_patch(Circle((0, 0), radius * 0.34, facecolor=(style.SKY, 0.35), edgecolor=style.BLUE, linewidth=1.2))
    axes.plot([-crank, crank], [0, 0], color=style.VERMILION, linewidth=3.2, solid_capstyle="round")
    axes.plot([0, -0.04], [0, saddle], **ink)
    axes.plot([-0.17, 0.10], [saddle + 0.01, saddle + 0.03], color=style.INK, linewidth=4.5, solid_capstyle="round")
    knee = (0.40, 0.52 * saddle)
    axes.plot([-0.02, knee[0], crank + 0.02], [saddle + 0.06, knee[1], 0.03], color=style.QUIET, linewidth=5, solid_capstyle="round")
    axes.add_patch(Ellipse((0.01, saddle + 0.33), 0.24, 0.60, angle=-4, facecolor=(style.QUIET, 0.25), edgecolor=style.QUIET))
    axes.add_patch(Circle((0.04, saddle + 0.75), 0.105, facecolor=(style.QUIET, 0.25), edgecolor=style.QUIET))
    axes.annotate("", (crank, -0.02), (crank, 0.26), arrowprops={"arrowstyle": "-|>", "color": style.VERMILION, "linewidth": 1.8})
    rows = (
        ("ungeared wheel", machine.push_ungeared, style.INK, "-"),
        ("gear alone", machine.push_gear, style.BLUE, (0, (4, 2))),
        ("with assist", machine.push_assisted, style.GREEN, "-"),
    )
    for i, (text, force, color, dashes) in enumerate(rows):
        level = -0.52 - 0.21 * i
        arrow = {"arrowstyle": "-|>", "color": color, "linewidth": 2.4, "linestyle": dashes, "shrinkA": 0, "shrinkB": 0}
        axes.annotate("", (WIDE[0] + NEWTON * force, level), (WIDE[0], level), arrowprops=arrow)
        axes.text(WIDE[0] + NEWTON * force + 0.05, level, f"{text} {force:.0f} N", va="center", fontsize=9, color=style.readable(color))


def _frame(axes, machine) -> None:
    frame(axes)


picture = Picture(
    _frame,
    marks,
    size=(3.4, 4.2),
    margins={"left": 0.1, "right": 0.1, "bottom": 0.1, "top": 0.4},
    text="Side view of the machine with the road force that 100 N on the pedal gives",
)
