"""Results on paper: tables, picture files, and lines that a notebook prints and compares."""

from __future__ import annotations

import io
import os
import tempfile
from collections.abc import Mapping
from dataclasses import fields
from pathlib import Path
from typing import Any

from . import style
from .picture import Picture, each_axes


def print_summary(result: Any) -> None:
    """Print a result's summary, one label and value per line, the values in one column."""
    lines = result.summary()
    width = max(map(len, lines), default=0)
    for label, text in lines.items():
        print(f"{label:<{width}}  {text}")


def print_beside(results: Mapping[str, Any], *names: str) -> None:
    """Print some fields of several results: one line a field, by its label, and one column a result."""
    columns = {title: result.summary() for title, result in results.items()}
    label = {item.name: item.metadata.get("label", "") for item in fields(next(iter(results.values())))}
    rows = [["", *columns], *([label[name], *(lines[label[name]] for lines in columns.values())] for name in names)]
    first, *others = (max(map(len, column)) for column in zip(*rows, strict=True))
    for text, *values in rows:
        print(text.ljust(first), *(value.rjust(width) for value, width in zip(values, others, strict=True)), sep="  ")


def table_csv(result: Any) -> str:
    """A result's table as CSV; a plain numbering of the rows is left out."""
    table = result.table()
    return table.to_csv(index=table.index.name is not None, lineterminator="\n")


def figure_bytes(picture: Picture, result: Any, form: str, dpi: float = 200) -> bytes:
    """A full drawing as ``"png"`` or ``"svg"``; the same result gives the same bytes."""
    if form == "png":
        return picture.png(result, dpi=dpi)
    if form != "svg":
        raise ValueError(f"a picture can be saved as png or svg, got {form!r}")
    figure = each_axes(picture.draw(result))[0].figure
    stream = io.BytesIO()
    with style.look():
        figure.savefig(stream, format="svg", metadata={"Date": None})
    return stream.getvalue()


def save_table(result: Any, path: str | Path, *, overwrite: bool = False) -> Path:
    """Save a result's table as a CSV file."""
    return write(path, table_csv(result).encode(), overwrite=overwrite)


def save_figure(picture: Picture, result: Any, path: str | Path, *, overwrite: bool = False) -> Path:
    """Save a picture of a result; the ending of the path, ``.png`` or ``.svg``, says how."""
    return write(path, figure_bytes(picture, result, Path(path).suffix.lower().lstrip(".")), overwrite=overwrite)


def write(path: str | Path, content: bytes, *, overwrite: bool = False) -> Path:
    """Write a file whole or not at all, and never over another one unasked."""
    path = Path(path)
    if path.exists() and not overwrite:
        raise FileExistsError(f"{path.name} exists already: choose another name, or pass overwrite=True")
    handle, name = tempfile.mkstemp(prefix=f".{path.name}.", dir=path.parent)
    try:
        with os.fdopen(handle, "wb") as stream:
            stream.write(content)
        umask = os.umask(0)
        os.umask(umask)
        os.chmod(name, 0o666 & ~umask)  # a temporary file is private; the finished one is an ordinary file
        os.replace(name, path)
    except BaseException:
        Path(name).unlink(missing_ok=True)
        raise
    return path
