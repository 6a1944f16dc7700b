"""From a record to a file, whole or not at all, and never over another file unasked."""

from __future__ import annotations

import os
import secrets
from collections.abc import Mapping
from typing import Any

import numpy as np

from .build import Build, Case
from .errors import InputError, Problem
from .fields import Spec, specs
from .paths import item_of
from .reading import label
from .records import Record, join
from .spreads import Spread, write, write_spread


def save_build(build: Build, path: str | os.PathLike[str], overwrite: bool = False) -> None:
    """Write a build file that :func:`load_build` reads back as the same build.

    The file appears complete or not at all.  An existing file is kept unless
    ``overwrite`` is asked for; comments in it are not carried over.
    """
    _save(build, path, overwrite)


def save_case(case: Case, path: str | os.PathLike[str], overwrite: bool = False) -> None:
    """Write a case file; see :func:`save_build`."""
    _save(case, path, overwrite)


def _save(record: Build | Case, path: str | os.PathLike[str], overwrite: bool) -> None:
    import tomli_w

    write_text(tomli_w.dumps(to_table(record), multiline_strings=True), path, overwrite)


def write_text(text: str, path: str | os.PathLike[str], overwrite: bool = False) -> None:
    """Write a file whole or not at all; an existing one is kept unless ``overwrite`` is asked for."""
    target, file = os.path.realpath(path), label(path)
    if os.path.isdir(target):
        raise InputError([Problem(file, "", "", "the name of a file", "a folder")])
    if os.path.exists(target) and not overwrite:
        raise InputError([Problem(file, "", "", "a new file, or overwrite=True", "a file that exists already; it is unchanged")])
    beside = f"{target}.{secrets.token_hex(4)}.part"
    try:
        with open(beside, "x", encoding="utf-8", newline="\n") as handle:
            handle.write(text)
            handle.flush()
            os.fsync(handle.fileno())
        os.replace(beside, target)
    except OSError as error:
        raise InputError([Problem(file, "", "", "a file that can be written", error.strerror or str(error))]) from error
    finally:
        if os.path.exists(beside):
            os.unlink(beside)


def to_table(record: Record) -> dict[str, Any]:
    """The tables of a file: texts with units, spreads where there are any, no empty fields."""
    return _table(record, "", getattr(record, "spreads", {}))


def _table(record: Record, place: str, spreads: Mapping[str, Spread]) -> dict[str, Any]:
    table: dict[str, Any] = {}
    for spec in specs(type(record)).values():
        value, path = getattr(record, spec.name), join(place, spec.name)
        if value is None or spec.form == "spreads" or (spec.form == "text" and not value):
            continue
        if spec.form == "number":
            table[spec.name] = _number(spec, value, path, spreads)
        elif spec.form == "curve":
            table[spec.name] = [_number(item_of(spec), item, path, {}) for item in value]
        elif spec.form == "gains":
            table[spec.name] = {name: _number(item_of(spec), item, join(path, name), spreads) for name, item in value.items()}
        elif spec.form == "part":
            table[spec.name] = _table(value, path, spreads)
        elif spec.form == "parts":
            table[spec.name] = [_table(item, join(path, item.name), spreads) for item in value]
        else:
            table[spec.name] = value
    return table


def _number(spec: Spec, value: Any, path: str, spreads: Mapping[str, Spread]) -> Any:
    if isinstance(value, np.ndarray):
        raise InputError([Problem("", path, f"{value.size} values", "one number, since a file holds no draws", "an array")])
    if path in spreads:
        return write_spread(spreads[path], spec.kind, spec.unit)
    return value if spec.bare else write(value, spec.kind, spec.unit)
