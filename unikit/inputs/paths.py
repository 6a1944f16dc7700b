"""Dotted paths: every value of a record under one name, such as ``gears.gear.long.ratio``."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator
from typing import Any

from .fields import Spec, nearest, specs
from .records import Record, join

ANY = "<name>"


def leaves(record: Record, place: str = "") -> Iterator[tuple[str, Spec, Any]]:
    """Each value of a record with its path and declaration; tables within tables come last."""
    deep = []
    for spec in specs(type(record)).values():
        value, path = getattr(record, spec.name), join(place, spec.name)
        if spec.form in ("part", "parts", "gains"):
            deep.append((path, spec, value))
        elif spec.form != "spreads" and not _is_key(record, spec, place):
            yield path, spec, value
    for path, spec, value in deep:
        if spec.form == "part" and value is not None:
            yield from leaves(value, path)
        elif spec.form == "parts":
            for item in value:
                yield from leaves(item, join(path, item.name))
        elif spec.form == "gains":
            for name, number in value.items():
                yield join(path, name), item_of(spec), number


def item_of(spec: Spec) -> Spec:
    """The declaration of one number in a table of gains."""
    return dataclasses.replace(spec, form="number")


def _is_key(record: Record, spec: Spec, place: str) -> bool:
    return spec.name == "name" and spec.form == "word" and bool(place)


def find(record: type, path: str) -> Spec:
    """The declaration behind a dotted path; ValueError with the nearest name if there is none."""
    words, spec, at = path.split("."), None, record
    place = ""
    while words:
        name = words.pop(0)
        known = specs(at) if at is not None else {}
        if name not in known:
            raise ValueError(f"there is no field {join(place, name)!r}{nearest(name, known)}")
        spec, place = known[name], join(place, name)
        at = spec.record
        if spec.form in ("parts", "gains") and words:
            place = join(place, words.pop(0))
            if spec.form == "gains":
                spec = item_of(spec)
            elif not words:
                spec = dataclasses.replace(spec, form="part")
    assert spec is not None
    return spec


def declared(record: type, place: str = "") -> Iterator[tuple[str, Spec]]:
    """Every path that a record class can hold, with ``<name>`` for the name of a gear or pack."""
    for spec in specs(record).values():
        path = join(place, spec.name)
        if spec.form == "part":
            yield from declared(spec.record, path)
        elif spec.form == "parts":
            yield from declared(spec.record, join(path, ANY))
        elif spec.form == "gains":
            yield join(path, ANY), item_of(spec)
        elif spec.form != "spreads" and not (spec.name == "name" and spec.form == "word"):
            yield path, spec
