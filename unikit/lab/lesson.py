"""The one lesson template: which sections every notebook has, and an empty notebook with them.

``python -m unikit.lab.lesson "Gearing" notebooks/10_gearing.ipynb`` writes one to fill in.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Sequence
from pathlib import Path

from .report import write

# The headings of every lesson, in this order, each with the line that says what to write there.
TEMPLATE: dict[str, str] = {
    "Goal": "What a reader can decide about a build after this lesson.",
    "What you need to know": "Terms, laws and earlier lessons that this one leans on.",
    "Minutes": "How long the lesson takes, exercises included.",
    "Panel": "The sliders, and below them the same numbers printed at the start values.",
    "Argument": "Step by step from the question to the answer; every number in the text is printed by a cell.",
    "Cautions": "What the numbers leave out, and where work on a real machine can hurt.",
    "Exercises": "At least three, each with `check(...)`.",
}
SECTIONS: tuple[str, ...] = tuple(TEMPLATE)
FEWEST_EXERCISES = 3
MOST_LINES_OF_CODE = 6  # in one cell
FEWEST_PRINTED_NUMBERS = 3

# What every notebook stores about its kernel, so that it opens wherever Jupyter runs.
KERNELSPEC = {"display_name": "Python 3", "language": "python", "name": "python3"}


def new_notebook(title: str, path: str | Path) -> Path:
    """Write an empty lesson with all sections; an existing file is never replaced."""
    from nbformat import v4, writes

    if Path(path).suffix != ".ipynb":
        raise ValueError(f"{path} is not the name of a notebook: it must end in .ipynb")
    if Path(path).exists():
        raise FileExistsError(f"{path} exists already, and a lesson is never replaced")
    cells = [v4.new_markdown_cell(f"# {title}")]
    cells += [v4.new_markdown_cell(f"## {section}\n\n*{advice}*") for section, advice in TEMPLATE.items()]
    for number, cell in enumerate(cells):
        cell.id = f"c{number}"
    notebook = v4.new_notebook(cells=cells, metadata={"kernelspec": dict(KERNELSPEC)})
    return write(path, (writes(notebook) + "\n").encode())


def main(arguments: Sequence[str] | None = None) -> int:
    """Write one new lesson; 2 when it could not be written."""
    parser = argparse.ArgumentParser(prog="python -m unikit.lab.lesson", description="Write an empty lesson with all its sections.")
    parser.add_argument("title", help="the lesson's first heading")
    parser.add_argument("path", help="the new notebook, which must not exist yet")
    chosen = parser.parse_args(arguments)
    try:
        print(f"{new_notebook(chosen.title, chosen.path)}: written")
    except (OSError, ValueError) as error:
        print(f"not written: {error}", file=sys.stderr)
        return 2
    return 0


if __name__ == "__main__":
    sys.exit(main())
