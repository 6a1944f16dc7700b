"""Review: every finding of one gear in one case as a margin on one scale, holds at the line."""

from __future__ import annotations

from functools import partial

import numpy as np
from matplotlib.collections import LineCollection

from ...studies.findings import FINDINGS, RIDE
from .. import style
from ..picture import Picture
from . import pen, side

BUILD_ALONE = ("joint limit", "local rules")  # no speed, slope or setting of the panel moves these
KEYS = tuple(rule.key for rule in RIDE if rule.key not in BUILD_ALONE)
LEAST, MOST = 0.2, 5.0
LIFT = 0.22  # of a row, where its text stands below it
LONGEST = 46  # letters that stand beside the margins
MARKERS = {"holds": ("o", style.BLUE), "tight": ("D", style.ORANGE), "short": ("s", style.VERMILION)}


def span(scene, least=None) -> None:
    """The scale is the same for all builds."""


def _frame(keys, axes, scene) -> None:
    side.frame(axes["side"], scene.stage)
    main = axes["main"]
    main.set(
        xlim=(LEAST, MOST),
        ylim=(len(keys) - 0.4, -0.6),
        xscale="log",
        xlabel="margin / margin that holds",
        title="Margins",
    )
    main.set_xticks([0.2, 0.5, 1, 2, 5], ["0.2", "0.5", "1", "2", "5+"])
    main.minorticks_off()
    main.set_yticks(range(len(keys)), keys)
    main.tick_params(axis="y", length=0, pad=8)
    if pen.is_narrow(main):  # two lines a row, from the left edge: the finding, and below it what it says
        main.set_yticks([])
        for row, key in enumerate(keys):
            pen.words(main, _left(main), row - LIFT, key, fontweight="bold")
    main.axvspan(LEAST, 1, facecolor=(style.VERMILION, 0.06), edgecolor=(style.VERMILION, 0.22), hatch=style.HATCHES[1], linewidth=0)
    main.axvline(1, color=style.INK, linewidth=1.4)


def _marks(keys, axes, scene) -> None:
    side.marks(axes["side"], scene.machine, scene.stage)
    main, narrow = axes["main"], pen.is_narrow(axes["main"])
    found = {finding.key: finding for finding in scene.main.findings}
    drawn = [(row, found[key]) for row, key in enumerate(keys) if key in found and not np.isnan(found[key].margin)]
    lift = LIFT if narrow else 0.0
    for verdict, (marker, color) in MARKERS.items():
        rows = np.array([row for row, finding in drawn if finding.verdict == verdict]) - lift
        places = np.array([_place(finding) for _, finding in drawn if finding.verdict == verdict])
        if rows.size:
            stems = [[(1.0, row), (place, row)] for row, place in zip(rows, places, strict=True)]
            main.add_artist(LineCollection(stems, colors=color, linewidths=1.6))
            pen.line(main, places, rows, marker=marker, linestyle="", color=color, markersize=7, clip_on=False)
    judged = {row: finding for row, finding in drawn}
    for row, key in enumerate(keys):
        finding = judged.get(row)
        if finding is None:
            missing = "not in this build" if scene.later is None else "computing …"
            text, color = "unknown" if key in found else missing, style.QUIET
        else:
            text, color = _short(f"{finding.verdict}: {finding.limited_by}".replace(" -", " −")), MARKERS[finding.verdict][1]
        if narrow:
            pen.words(main, _left(main), row + 0.24, text, color, paper=style.PAPER)
        else:
            pen.words(main, MOST * 1.13, row, text, color)


def _short(text: str) -> str:
    """The text, cut where it would leave the picture; the table has the whole."""
    return text if len(text) <= LONGEST else f"{text[: LONGEST - 1].rsplit(' ', 1)[0]} …"


def _place(finding) -> float:
    return float(np.clip(finding.margin / FINDINGS[finding.key].holds, LEAST, MOST))


def _left(axes) -> float:
    """The margin at which a text begins at the left edge of the figure."""
    return float(axes.transData.inverted().transform((0.1 * axes.figure.dpi, 0))[0])


def margins_picture(keys: tuple[str, ...], text: str) -> Picture:
    """The picture of the findings with these keys, one row for each."""
    return Picture(
        partial(_frame, keys),
        partial(_marks, keys),
        size=(9.2, 1.1 + 0.27 * len(keys)),
        mosaic=[["side", "main"]],
        ratios=[1.0, 1.05],
        bare=("side",),
        margins={"left": 0.1, "right": 3.35, "columns": 1.25},
        narrow_margins={"left": 1.4, "right": 0.2},
        narrow_heights=(3.3, 1.0 + 0.385 * len(keys)),
        span=lambda scene: scene.key,
        text=text,
    )


picture = margins_picture(KEYS, "Margins of all findings on one ride in one gear on one scale, each with what limits it")
