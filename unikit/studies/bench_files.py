"""The files of computed bench records, written as ``load_bench`` reads them: for ``benched`` and ``heated``."""

from __future__ import annotations

import sys
from collections.abc import Mapping, Sequence
from pathlib import Path

import numpy as np

from .. import units
from ..inputs.bench import QUANTITIES, Run

Said = Mapping[str, Mapping[str, str]]  # what is said of each quantity


def shown(values: np.ndarray, quantity: str, unit: str) -> np.ndarray:
    """SI values of a quantity in the unit that its file has."""
    kind = QUANTITIES[quantity].kind
    return units.convert(values, kind, units.KINDS[kind].base, unit)


def declared(run: Run, columns: Said, constants: Said, apart: bool = False) -> list[str]:
    """Lines of a record that declare a run, its table and its constants; ``apart`` puts an empty line between quantities."""
    said = {"name": run.name, "kind": run.kind, **run.words, "table": f"{run.name}.csv", "delimiter": "comma", "decimal": "point"}
    lines = ["", "[[runs]]", *_lines(said)]
    for group, quantities in (("columns", columns), ("constants", constants)):
        for quantity, said in quantities.items():
            lines += [*[""] * apart, f"[runs.{group}.{quantity}]", *_lines(said)]
    return lines


def _lines(said: Mapping[str, str]) -> list[str]:
    return [f'{name} = "{text}"' for name, text in said.items()]


def table(run: Run, columns: Said, digits: Mapping[str, int]) -> str:
    """A run as the table whose columns and units a record declares."""
    texts = [np.char.mod(f"%.{digits[name]}f", shown(run.values(name), name, said["unit"])) for name, said in columns.items()]
    rows = [",".join(said["column"] for said in columns.values()), *(",".join(row) for row in zip(*texts, strict=True))]
    return "\n".join(rows) + "\n"


def write(texts: Mapping[str, str], folder: Path) -> list[Path]:
    """Write texts by file name into a folder."""
    folder.mkdir(parents=True, exist_ok=True)
    for name, text in texts.items():
        (folder / name).write_text(text, encoding="utf-8", newline="\n")
    return [folder / name for name in texts]


def write_examples(texts: Mapping[str, str], arguments: Sequence[str] | None) -> int:
    """Write them into the folder that a command names, by default ``data/bench``, and say so."""
    given = sys.argv[1:] if arguments is None else arguments
    for path in write(texts, Path(given[0] if given else "data/bench")):
        print(f"{path}: written")
    return 0
