"""The side view: the machine to scale on its slope, and a push of 100 N followed to the road."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from matplotlib import rcParams
from matplotlib.axes import Axes
from matplotlib.patches import Circle

from .. import style
from ..picture import Picture
from . import pen

FOOT = 0.29  # share of the height for the arrows below the road
BELOW = 0.17  # metres from the contact point down to the end of the stage, for a road that falls
STEEPEST = 0.16  # metres that the drawn road may rise or fall
COLUMN, NAMES = 0.40, 0.084  # least share of the width for the names of the arrows, and what they need in inches per point of type
REACH, FORCES = 0.38, 0.22  # greatest share of the width for the longest arrow, and the share behind it for its force
SPOKES = 10
FAR = "#EFECE4"  # the limb behind the wheel
GAP = [np.nan, np.nan]

ARROWS = (
    ("ungeared", "push_ungeared", style.INK, "-"),
    ("gear alone", "push_gear", style.BLUE, "-"),
    ("assisted", "push_assisted", style.GREEN, "-"),
)


class Stage(NamedTuple):
    """What the side view must hold: height in metres, and newtons at the road."""

    height: float
    push: float


def stage(machine, least: Stage | None = None) -> Stage:
    """Round numbers that hold a machine, and never less than ``least``."""
    height = 0.2 * np.ceil((machine.wheel_radius + machine.saddle_height + 0.98 * machine.inseam) / 0.2 - 1e-9)
    push = pen.nice(max(machine.push_ungeared, machine.push_gear, machine.push_assisted), (1.0, 2.0, 5.0, 10.0))
    needed = Stage(round(float(height), 3), push)
    return needed if least is None else Stage(*map(max, needed, least))


def frame(axes: Axes, held: Stage) -> None:
    """An empty stage in metres, equal both ways, with the middle of the contact at (0, 0)."""
    axes.set_axis_off()
    unit = (held.height + BELOW) / (1 - FOOT)  # metres for the height of the axes
    width = unit * axes.bbox.width / axes.bbox.height
    axes.set(xlim=(-0.5 * width, 0.5 * width), ylim=(held.height - unit, held.height))
    pen.words(axes, 0.0, 0.245, "100 N on the pedal", transform=axes.transAxes, fontweight="bold")
    for row, (text, _, color, _) in enumerate(ARROWS):
        pen.words(axes, 0.0, _level(row), text, color, transform=axes.transAxes)


def _level(row: int) -> float:
    return 0.165 - 0.068 * row


def marks(axes: Axes, machine, held: Stage) -> None:
    """Road, wheel, cranks and rider, and three arrows for what reaches the road."""
    radius, hip = machine.wheel_radius, machine.wheel_radius + machine.saddle_height + 0.05 * machine.inseam
    right, (low, high) = axes.get_xlim()[1], axes.get_ylim()
    points = 72 * axes.bbox.height / axes.figure.dpi / (high - low)  # for a metre
    tyre = max(machine.tyre_width, 0.02)
    angle = np.arctan(machine.slope)
    half = min(0.94 * right, STEEPEST / max(abs(machine.slope), 1e-9))
    x = np.array([-half, half])
    pen.line(axes, x, radius * (1 - 1 / np.cos(angle)) + machine.slope * x, color=style.QUIET, linewidth=2.2)
    pedals = [(-machine.crank_length, radius), (machine.crank_length, radius)]
    body, near = 0.115 * machine.inseam * points, style.INK
    seat = (-0.03 * machine.inseam, hip)
    _limb(axes, [_leg(seat, pedals[0], machine.inseam)], 0.8 * body, style.QUIET)
    spokes = np.arange(SPOKES) * np.pi / SPOKES + 0.2
    tips = [value for one in spokes for value in (-np.exp(1j * one), np.exp(1j * one), np.nan)]
    pen.line(axes, radius * np.real(tips), radius + radius * np.imag(tips), color=style.QUIET, linewidth=0.5)
    axes.add_artist(Circle((0, radius), radius - tyre / 2, fill=False, edgecolor=style.INK, linewidth=tyre * points))
    hub = max(machine.motor_diameter / 2, 0.035)
    axes.add_artist(
        Circle((0, radius), hub, facecolor=style.SKY if machine.motor_diameter else style.GRID, edgecolor=style.QUIET, linewidth=1)
    )
    top = hip - 0.07 * machine.inseam
    pen.line(axes, [0, 0, seat[0]], [radius, radius + 0.5 * machine.saddle_height, top], color=style.INK, linewidth=2.4)
    pen.line(
        axes,
        seat[0] + machine.inseam * np.array([-0.17, -0.10, 0.06, 0.17]),
        top + machine.inseam * np.array([0.045, 0.0, 0.005, 0.035]),
        color=near,
        linewidth=4,
        solid_capstyle="round",
        solid_joinstyle="round",
    )
    cranks = {"color": style.VERMILION, "linewidth": 3.4, "solid_capstyle": "round"}
    pen.line(axes, *zip(*pedals, strict=True), **cranks)
    shoulder = (seat[0] + 0.07 * machine.inseam, hip + 0.52 * machine.inseam)
    hand = (shoulder[0] + 0.30 * machine.inseam, shoulder[1] - 0.40 * machine.inseam)
    elbow = (shoulder[0] - 0.02 * machine.inseam, shoulder[1] - 0.32 * machine.inseam)
    _limb(axes, [[seat, shoulder]], 2.1 * body, style.GRID)
    _limb(axes, [[shoulder, elbow, hand]], 0.62 * body, style.GRID)
    _limb(axes, [_leg(seat, pedals[1], machine.inseam)], body, style.GRID)
    head = (shoulder[0] + 0.04 * machine.inseam, shoulder[1] + 0.28 * machine.inseam)
    axes.add_artist(Circle(head, 0.125 * machine.inseam, facecolor=style.GRID, edgecolor=near, linewidth=1.2))
    feet = [value for x, y in pedals for value in ((x - 0.05, y), (x + 0.05, y), GAP)]
    pen.line(axes, *zip(*feet, strict=True), color=style.INK, linewidth=3.4)
    _arrows(axes, machine, held)


def _leg(seat, pedal, inseam: float):
    """Hip, knee and ball of the foot: two equal segments with the knee in front, straight where the pedal is too far."""
    hip, foot = np.array(seat), np.array(pedal) + [0.0, 0.02]
    reach = foot - hip
    distance = float(np.hypot(*reach))
    bend = np.sqrt(max((0.54 * inseam) ** 2 - distance**2 / 4, 0.0))
    return [hip, hip + reach / 2 + bend * np.array([-reach[1], reach[0]]) / distance, foot]


def _limb(axes: Axes, chains, width: float, color: str) -> None:
    """Chains of joints as rounded limbs with an outline."""
    x, y = zip(*[joint for chain in chains for joint in (*chain, GAP)], strict=True)
    rounded = {"solid_capstyle": "round", "solid_joinstyle": "round"}
    pen.line(axes, x, y, color=style.INK if color == style.GRID else style.QUIET, linewidth=width + 2.4, **rounded)
    pen.line(axes, x, y, color=color if color == style.GRID else FAR, linewidth=width, **rounded)


def _arrows(axes: Axes, machine, held: Stage) -> None:
    """A push of 100 N on the pedal, and what it becomes at the road on three machines."""
    tip = (machine.crank_length, machine.wheel_radius + 0.035)
    head = {"markevery": [1], "markersize": 7, "markeredgewidth": 0}
    pen.line(axes, [tip[0], tip[0]], [tip[1] + 0.16 * held.height, tip[1]], color=style.VERMILION, linewidth=2.2, marker="v", **head)
    column = max(COLUMN, NAMES * rcParams["font.size"] * axes.figure.dpi / axes.bbox.width)
    for row, (_, name, color, dashes) in enumerate(ARROWS):
        force, level = getattr(machine, name), _level(row)
        end = column + min(REACH, 1 - FORCES - column) * min(force / held.push, 1.0)
        pen.line(
            axes, [column, end], [level, level], color=color, linestyle=dashes, linewidth=2.4, marker=">", transform=axes.transAxes, **head
        )
        pen.words(axes, end + 0.04, level, f"{force:.0f} N", color, transform=axes.transAxes)


def _frame(axes, machine) -> None:
    frame(axes["side"], stage(machine))


def _marks(axes, machine) -> None:
    marks(axes["side"], machine, stage(machine))


picture = Picture(
    _frame,
    _marks,
    size=(2.9, 4.2),
    mosaic=[["side"]],
    bare=("side",),
    margins={"left": 0.1, "right": 0.1},
    span=stage,
    text="Side view of the machine with the road force that 100 N on the pedal gives",
)
