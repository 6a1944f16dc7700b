"""Start: the whole machine at one look - side view, leverage left over speed, and the findings in short."""

from __future__ import annotations

from collections import defaultdict

from ...studies.findings import FINDINGS
from ..picture import Picture
from . import gearing, pen, review, side

WORDS = ("short", "tight", "holds")
LINE = 40  # letters
MOST = 3  # lines for the findings of one word; what holds best is counted only


def span(scene, least: gearing.Span | None = None) -> gearing.Span:
    """The spans of the leverage left."""
    return gearing.span(scene, least)


def _frame(axes, scene) -> None:
    side.frame(axes["side"], scene.stage)
    gearing.left_frame(axes["left"], scene.span)
    axes["left"].set_xlabel("speed / km/h")
    axes["found"].set_axis_off()
    axes["found"].set(xlim=(0, 1), ylim=(0, 1))


def _marks(axes, scene) -> None:
    side.marks(axes["side"], scene.machine, scene.stage)
    gearing.left_marks(axes["left"], scene.main, scene.span)
    _found(axes["found"], scene.more)


def _found(axes, review_of_build) -> None:
    """Short, tight and holding findings: how many, and which."""
    named = defaultdict(list)
    for finding in review_of_build.findings:
        named[finding.verdict].append(finding)
    level, narrow = 1.0, pen.is_narrow(axes)
    pitch = 13.5 / 72 * axes.figure.dpi / axes.bbox.height
    for word in WORDS:
        marker, color = review.MARKERS[word]
        found = sorted(named[word], key=lambda finding: finding.margin / FINDINGS[finding.key].holds)
        lines = shortened([finding.key for finding in found] or ["–"], LINE - 20 if narrow else LINE + 14)
        pen.line(axes, 0.012, level, marker=marker, color=color, markersize=8, clip_on=False)
        pen.words(axes, 0.08 if narrow else 0.04, level, f"{len(found)} {word}", color, 1.0, fontweight="bold")
        for number, line in enumerate(lines):
            pen.words(axes, 0.38 if narrow else 0.26, level - number * pitch, line)
        level -= pitch * (max(len(lines), 1) + 0.35)
    judged = [finding for word in WORDS for finding in named[word]]
    worst = min(judged, key=lambda finding: finding.margin / FINDINGS[finding.key].holds, default=None)
    if worst is not None:
        for number, line in enumerate(
            wrapped(f"Narrowest: {worst.key}, {worst.limited_by}.".split(" "), LINE - 5 if narrow else 2 * LINE, " ")
        ):
            pen.words(axes, 0.0, level - number * pitch, line)


def shortened(parts: list[str], width: int) -> list[str]:
    """The parts in at most ``MOST`` lines, with the number of those that find no room at the end.

    >>> shortened(["pace", "push", "trim", "gust", "energy", "top speed", "leverage"], 11)
    ['pace, push,', 'trim, gust,', 'and 3 more']
    """
    lines, kept = wrapped(parts, width), len(parts)
    while len(lines) > MOST:
        kept -= 1
        lines = wrapped([*parts[:kept], f"and {len(parts) - kept} more"], width)
    return lines


def wrapped(parts: list[str], width: int, between: str = ", ") -> list[str]:
    """Parts put together to lines of at most ``width`` letters.

    >>> wrapped(["pace", "push", "trim"], 11)
    ['pace, push,', 'trim']
    """
    lines: list[str] = []
    for part in parts:
        if lines and len(lines[-1]) + len(between) + len(part) <= width:
            lines[-1] += between + part
        else:
            if lines:
                lines[-1] += between.rstrip()
            lines.append(part)
    return lines


picture = Picture(
    _frame,
    _marks,
    mosaic=[["side", "left"], ["side", "found"]],
    ratios=[1.0, 2.05],
    bare=("side",),
    margins={"left": 0.1, "columns": 1.0, "rows": 0.75, "bottom": 0.1},
    narrow_margins={"left": 0.72, "right": 0.15},
    narrow_heights=(3.3, 3.3, 5.2),
    span=lambda scene: scene.key,
    text="Side view of the machine, the leverage left over speed, and which findings are short, tight or hold",
)
