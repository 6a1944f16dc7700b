"""What can stand in a file, for people, for sliders and for editors."""

from __future__ import annotations

import json
import re
from collections.abc import Iterable
from typing import Any

from .. import units
from .build import Build
from .fields import LONGEST_NOTE, MOST_PARTS, MOST_POINTS, NAME, Spec, article, specs
from .paths import ANY, declared, find
from .spreads import step_kind, takes_percent

_NUMBER = r"[+-]?([0-9]+(\.[0-9]*)?|\.[0-9]+)([eE][+-]?[0-9]{1,4})?"


def fields(record: type = Build) -> dict[str, Spec]:
    """Every path that a build (or case) file can hold, with ``<name>`` for the name of a gear or pack."""
    return dict(declared(record))


def describe(path: str, record: type = Build) -> Spec:
    """Kind, limits and meaning of the value under one dotted path.

    >>> describe("gears.gear.long.ratio").expected
    'a ratio from 0.2 to 5 (a bare number or %)'
    """
    return find(record, path)


def meaning(path: str, record: type = Build) -> str:
    """What the value under a dotted path is, in words, with the name of the part that it belongs to.

    >>> meaning("packs.pack.left.cell_resistance")
    'resistance of one cell (left)'
    """
    words = path.split(".")
    for known, spec in declared(record):
        steps = known.split(".")
        if len(steps) == len(words) and all(step in (ANY, word) for step, word in zip(steps, words, strict=True)):
            names = [word for step, word in zip(steps, words, strict=True) if step == ANY]
            return f"{spec.meaning} ({', '.join(names)})" if names else spec.meaning
    return find(record, path).meaning  # raises for a path that leads nowhere


def schema(record: type = Build) -> dict[str, Any]:
    """The JSON Schema (draft 2020-12) of a build or case file, made from the records.

    It covers names, words, units and the limits of bare numbers; limits of
    numbers with units, and what must hold between fields, are left to
    ``load_build`` and ``load_case``.
    """
    kinds = sorted({spec.kind for _, spec in declared(record) if spec.kind})
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": f"unikit {record.__name__.lower()} file",
        "description": (record.__doc__ or "").strip().splitlines()[0],
        **_table(record),
        "$defs": {_key(kind): {"description": f"{article(kind)} with its unit", **_texts(kind)} for kind in kinds},
    }


def schema_text(record: type = Build) -> str:
    """The schema as it stands in ``data``."""
    return json.dumps(schema(record), indent=1, ensure_ascii=False) + "\n"


def field_table(record: type = Build) -> str:
    """All fields of a file but its notes as a Markdown table, as it stands in the docs."""
    lines = ["| field | meaning | what to write |", "| --- | --- | --- |"]
    for path, spec in fields(record).items():
        if spec.name in ("source", "note"):
            continue
        optional = "" if spec.required else " (may be left out)"
        lines.append(f"| `{path}` | {spec.meaning}{optional} | {spec.expected.replace('|', chr(92) + '|')} |")
    return "\n".join(lines)


def _table(record: type) -> dict[str, Any]:
    known = {name: spec for name, spec in specs(record).items() if spec.form != "spreads"}
    return {
        "type": "object",
        "properties": {name: _property(spec) for name, spec in known.items()},
        "required": [name for name, spec in known.items() if spec.required],
        "additionalProperties": False,
    }


def _property(spec: Spec) -> dict[str, Any]:
    return {"description": spec.meaning + (f", {spec.limits}" if spec.kind else ""), **_shape(spec)}


def _shape(spec: Spec) -> dict[str, Any]:
    if spec.form == "part":
        return _table(spec.record)
    if spec.form == "parts":
        return {"type": "array", "minItems": 1, "maxItems": MOST_PARTS, "items": _table(spec.record)}
    if spec.form == "text":
        return {"type": "string", "maxLength": LONGEST_NOTE} | ({"minLength": 1} if spec.required else {})
    if spec.form == "word":
        return {"enum": list(spec.words)} if spec.words else {"type": "string", "pattern": f"^{NAME}$"}
    if spec.form == "curve":
        return {"type": "array", "minItems": 2, "maxItems": MOST_POINTS, "items": _value(spec)}
    if spec.form == "gains":
        return {
            "type": "object",
            "propertyNames": {"pattern": f"^{NAME}$"},
            "maxProperties": MOST_PARTS,
            "additionalProperties": _value(spec),
        }
    return _value(spec)


def _value(spec: Spec) -> dict[str, Any]:
    text = {"$ref": f"#/$defs/{_key(spec.kind)}"}
    if not spec.bare:
        return text
    return {"anyOf": [{"type": "integer" if spec.whole else "number", "minimum": spec.low, "maximum": spec.high}, text]}


def _key(kind: str) -> str:
    return kind.replace(" ", "_")


def _texts(kind: str) -> dict[str, Any]:
    """A pattern for one number with a unit, or a spread of them."""
    number, step = _pattern(kind), _pattern(step_kind(kind))
    forms = [number]
    if kind != "number":
        if takes_percent(kind):
            step = rf"({step}|{_NUMBER}\s*%)"
        forms += [
            rf"{number}\s*(±|\+/-)\s*{step}",
            rf"{number}\s+to\s+{number}",
            rf"normal\s*\(\s*{number}\s*,\s*{step}\s*\)",
            rf"uniform\s*\(\s*{number}\s*,\s*{number}\s*\)",
            rf"triangular\s*\(\s*{number}\s*,\s*{number}\s*,\s*{number}\s*\)",
        ]
    return {"type": "string", "anyOf": [{"pattern": rf"^\s*{form}\s*$"} for form in forms]}


def _pattern(kind: str) -> str:
    return rf"{_NUMBER}\s*({'|'.join(_spellings(units.KINDS[kind].allowed))})"


def _spellings(allowed: Iterable[str]) -> list[str]:
    """Each unit in the ways :func:`unikit.units.spelling` accepts."""
    found = []
    for unit in allowed:
        text = re.escape(unit).replace(r"\*", r"(\s*[*·⋅]\s*|\s+)").replace("/", r"\s*/\s*").replace("uH", "[uµμ]H")
        found.append(re.sub(r"\\\^([23])", lambda match: rf"(\^{match[1]}|{'²³'[int(match[1]) - 2]})", text))
    return found
