"""Review: every finding of one gear and case as a margin on one scale, holds at the line."""

from __future__ import annotations

import numpy as np

from ...studies.findings import FINDINGS
from .. import style
from ..picture import Picture
from . import side

KEYS = (
    "pace",
    "top speed",
    "leverage",
    "push",
    "endurance",
    "motor torque",
    "gust",
    "back-EMF",
    "winding heat",
    "magnet heat",
    "energy",
    "cut-out step",
    "trim",
)
LEAST, MOST = 0.2, 5.0
MARKERS = {"holds": ("o", style.GREEN), "tight": ("D", style.ORANGE), "short": ("s", style.VERMILION)}


def _frame(axes, scene) -> None:
    side.frame(axes["side"])
    main = axes["main"]
    main.set(xlim=(LEAST, MOST), ylim=(len(KEYS) - 0.4, -0.6), xscale="log", xlabel="margin over what it takes to hold", title="What holds and what is short")
    main.set_xticks([0.2, 0.5, 1, 2, 5], ["0.2", "0.5", "holds from here", "2", "5 or more"])
    main.minorticks_off()
    main.set_yticks(range(len(KEYS)), KEYS)
    main.axvspan(LEAST, 1, facecolor=(style.VERMILION, 0.06), edgecolor=(style.VERMILION, 0.25), hatch=style.HATCHES[1], linewidth=0)
    main.axvline(1, color=style.INK, linewidth=1.4)


def _marks(axes, scene) -> None:
    side.marks(axes["side"], scene.machine)
    main = axes["main"]
    found = {finding.key: finding for finding in scene.main.findings}
    for row, key in enumerate(KEYS):
        finding = found.get(key)
        if finding is None or np.isnan(finding.margin):
            main.text(1.06, row, "not in this build", va="center", fontsize=8.5, color=style.QUIET)
            continue
        place = float(np.clip(finding.margin / FINDINGS[key].holds, LEAST, MOST))
        marker, color = MARKERS[finding.verdict]
        main.plot([1, place], [row, row], color=color, linewidth=1.6)
        main.plot([place], [row], marker=marker, color=color, markersize=7, clip_on=False)
        right = place < 1.6
        text = f"{finding.verdict}: {finding.limited_by}"
        style.note(main, place * (1.12 if right else 0.9), row, text, va="center", ha="left" if right else "right", fontsize=8.5)


picture = Picture(
    _frame,
    _marks,
    size=(9.2, 4.6),
    mosaic=[["side", "main"]],
    ratios=[1.0, 2.3],
    margins={"left": 1.1},
    text="Margins of all findings of one gear in one case on one scale",
)
