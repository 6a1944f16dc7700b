"""The pages and schemas that are made from the code, so that they cannot say anything else.

``python -m unikit.lab.book`` writes the formula book, the nomenclature, the
findings and the rules of carriage into ``docs/`` and the JSON Schemas into ``data/``; with ``--check``
it writes nothing and names the files that are not current.
"""

from __future__ import annotations

import argparse
import importlib
import inspect
import re
import sys
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import get_type_hints

from .. import units
from ..formulas.registry import FORMULAS, Formula, bibliography
from ..inputs import Build, Case, Datasheet
from ..inputs.fields import Spec, specs
from ..inputs.schema import schema_text
from ..studies import carriage, findings
from .report import write

PROJECT = Path(__file__).parents[2]


def files() -> dict[str, str]:
    """Every generated file: its path in the project and its text."""
    return {
        "docs/formulas.md": formulas_page(),
        "docs/nomenclature.md": nomenclature_page(),
        "docs/findings.md": findings.page(),
        "docs/carriage_rules.md": carriage.rules_page(),
        "data/build.schema.json": schema_text(Build),
        "data/case.schema.json": schema_text(Case),
        "data/datasheet.schema.json": schema_text(Datasheet),
    }


# -- words ---------------------------------------------------------------------


def plain(text: str) -> str:
    """A docstring's text as Markdown: one space between words, single backticks."""
    return re.sub(r"\s+", " ", re.sub(r":\w+:(?=`)", "", text).replace("``", "`")).strip()


def cell(text: str) -> str:
    """A phrase that fits into a cell of a table."""
    return plain(text).rstrip(".").replace("|", "\\|")


def unit_text(unit: units.Unit | None) -> str:
    """A unit as people write it; a dash where there is none."""
    symbol = unit.symbol if unit else ""
    for given, shown in (("degC", "°C"), ("*", "·"), ("^2", "²"), ("^3", "³"), ("ohm", "Ω"), ("^0.5", "^½")):
        symbol = symbol.replace(given, shown)
    return symbol or "–"


def kind_text(formula: Formula, name: str) -> str:
    """What an argument is: a kind of number, a record of numbers, values of no one kind (a matrix), a word, or a switch."""
    unit = formula.arguments[name]
    if unit:
        return unit.kind
    hint = inspect.signature(formula.function).parameters[name].annotation
    if hasattr(formula.function.__globals__.get(hint), "_fields"):
        return "record"
    return "switch" if hint in (bool, "bool") else "values" if hint == "u.Values" else "word"


def doc_parts(function: object) -> tuple[list[str], dict[str, str]]:
    """The paragraphs of a docstring before its arguments, and the meaning of each argument."""
    doc = re.sub(r"(?ms)^>>>.*\Z", "", inspect.getdoc(function) or "")
    before, _, after = doc.partition("\nArgs:\n")
    meanings: dict[str, str] = {}
    for line in inspect.cleandoc(after.partition("\n\n")[0]).splitlines():
        started = re.match(r"(\w+): (.*)", line)
        if started:
            meanings[started[1]] = started[2]
        elif meanings:
            meanings[next(reversed(meanings))] += " " + line.strip()
    return [plain(part) for part in before.split("\n\n") if part.strip()], meanings


# -- the formula book ----------------------------------------------------------


def formulas_page() -> str:
    """All formulas, topic by topic."""
    lines = [
        "# Formula book",
        "",
        "Generated from `unikit/formulas/` by `python -m unikit.lab.book`; a test keeps it current. Arguments and results are SI",
        "numbers or arrays that broadcast; a name that ends in another unit is in that unit. `with_units` takes and returns quantities.",
        "Outside a valid range that its source gives a correlation warns; impossible arguments are refused. In brackets after a source:",
        "how its text was seen.",
        "",
    ]
    topics = sorted({entry.topic for entry in FORMULAS.values()})
    lines += [f"- [{topic}](#{topic}): {summary(topic)}" for topic in topics]
    for topic in topics:
        lines += ["", f"## {topic}", ""]
        lines += "\n\n".join(plain(part) for part in (inspect.getdoc(module(topic)) or "").split("\n\n")).splitlines()
        for entry in FORMULAS.values():
            if entry.topic == topic:
                lines += formula_lines(entry)
    return "\n".join(lines) + "\n"


def module(topic: str) -> object:
    """The module of a topic."""
    return importlib.import_module(f"unikit.formulas.{topic}")


def summary(topic: str) -> str:
    """The first sentence of a topic's module."""
    return plain((inspect.getdoc(module(topic)) or "").split("\n\n")[0])


def formula_lines(entry: Formula) -> Iterator[str]:
    """One formula: signature, words, equation, table of units, signs, range and source."""
    paragraphs, meanings = doc_parts(entry.function)
    yield from ("", f"### {entry.name}", "", f"`{signature(entry)}`", "")
    for paragraph in paragraphs:
        yield from (paragraph, "")
    yield from ("$$", entry.equation, "$$", "", "| | kind | unit | meaning |", "| --- | --- | --- | --- |")
    for name, unit in entry.arguments.items():
        yield f"| `{name}` | {kind_text(entry, name)} | {unit_text(unit)} | {cell(meanings[name])} |"
    yield from result_rows(entry)
    yield ""
    if entry.sign:
        yield f"- Signs: {plain(entry.sign)}"
    if entry.valid:
        yield f"- Valid: {plain(entry.valid)}"
    for key in entry.source.split(", "):
        source = bibliography()[key]
        yield f"- Source: {plain(source['text'])} ({source['seen']})"


def signature(entry: Formula) -> str:
    """The call with its defaults, without annotations."""
    shown = [
        name if parameter.default is parameter.empty else f"{name}={parameter.default!r}"
        for name, parameter in inspect.signature(entry.function).parameters.items()
    ]
    return f"{entry.name}({', '.join(shown)})"


def result_rows(entry: Formula) -> Iterator[str]:
    """The rows of what comes back: one number, a word, or the fields of a record."""
    if isinstance(entry.result, dict):
        hints = get_type_hints(get_type_hints(entry.function)["return"])
        for name, unit in entry.result.items():
            kind = unit.kind if unit else "values" if hints[name] == units.Values else "word"
            yield f"| → `.{name}` | {kind} | {unit_text(unit)} | |"
    elif entry.result:
        yield f"| → result | {entry.result.kind} | {unit_text(entry.result)} | |"
    else:
        answer = "yes or no" if entry.function.__annotations__["return"] in (bool, "bool") else "word"
        yield f"| → result | {answer} | – | |"


# -- the nomenclature ----------------------------------------------------------


@dataclass(frozen=True)
class Use:
    """One place in which a name is used: a formula's argument, or a field of a build or case."""

    name: str
    kind: str
    unit: str
    meaning: str
    place: str
    anchor: str = ""


def uses() -> list[Use]:
    """Every argument of every formula and every field of builds and cases."""
    found = []
    for entry in FORMULAS.values():
        meanings = doc_parts(entry.function)[1]
        for name, unit in entry.arguments.items():
            anchor = entry.name.replace(".", "")
            found.append(Use(name, kind_text(entry, name), unit_text(unit), cell(meanings[name]), entry.name, anchor))
    for record, spec in record_fields(Build) | record_fields(Case):
        unit = units.Unit(spec.kind, units.KINDS[spec.kind].base) if spec.kind else None
        kind = spec.kind or ("text" if spec.form == "text" and spec.name in ("source", "note") else "word")
        found.append(Use(spec.name, kind, unit_text(unit), cell(spec.meaning), f"{record.__name__}.{spec.name}"))
    return found


def record_fields(record: type) -> dict[tuple[type, Spec], None]:
    """All fields that hold a number or a word, in a record and in its parts."""
    found: dict[tuple[type, Spec], None] = {}
    for spec in specs(record).values():
        if spec.record:
            found |= record_fields(spec.record)
        elif spec.form != "spreads":
            found[record, spec] = None
    return found


def by_name() -> dict[str, list[Use]]:
    """The uses of each name, in the order of the alphabet."""
    found: dict[str, list[Use]] = {}
    for use in sorted(uses(), key=lambda use: use.name):
        found.setdefault(use.name, []).append(use)
    return found


def clashes(names: dict[str, list[Use]]) -> list[str]:
    """Names that stand for more than one kind or unit, with the places."""
    found = []
    for name, places in names.items():
        if len({(use.kind, use.unit) for use in places}) > 1:
            found.append(f"{name}: " + ", ".join(f"{use.kind} in {use.unit} ({use.place})" for use in places))
    return found


def nomenclature_page() -> str:
    """Every argument and field name with its kind, unit, meaning and places."""
    lines = [
        "# Nomenclature",
        "",
        "Generated from the signatures of `unikit/formulas/` and the records of `unikit/inputs/` by `python -m unikit.lab.book`; a test",
        "keeps it current. A name has one kind and one unit everywhere (tested). Units are those of the numbers inside: SI, or as the",
        "end of the name says. In files every number is written with a unit of its kind. `Record.field` is a field of a build or case.",
        "",
        "| name | kind | unit | meaning | used in |",
        "| --- | --- | --- | --- | --- |",
    ]
    for name, places in by_name().items():
        meanings = list(dict.fromkeys(use.meaning for use in places))
        where = [f"[{use.place}](formulas.md#{use.anchor})" if use.anchor else f"`{use.place}`" for use in places]
        lines.append(f"| `{name}` | {places[0].kind} | {places[0].unit} | {'; '.join(meanings)} | {', '.join(where)} |")
    return "\n".join(lines) + "\n"


# -- the command ---------------------------------------------------------------


def outdated(folder: Path) -> dict[str, bytes]:
    """The generated files that a project's folder lacks or holds in another state, as they should be."""
    found = {}
    for name, text in files().items():
        path, content = folder / name, text.encode()
        if not path.is_file() or path.read_bytes() != content:
            found[name] = content
    return found


def main(arguments: Sequence[str] | None = None) -> int:
    """Write what is not current; with ``--check`` 1 when something is not."""
    parser = argparse.ArgumentParser(prog="python -m unikit.lab.book", description="Write the generated pages and schemas.")
    parser.add_argument("folder", nargs="?", type=Path, default=PROJECT, help="the project's folder, which holds docs/ and data/")
    parser.add_argument("--check", action="store_true", help="write nothing; name what is not current")
    chosen = parser.parse_args(arguments)
    missing = [name for name in ("docs", "data") if not (chosen.folder / name).is_dir()]
    if missing:
        print(f"{chosen.folder}: no folder {' and no folder '.join(missing)} here", file=sys.stderr)
        return 2
    old = outdated(chosen.folder)
    for name, content in old.items():
        if not chosen.check:
            write(chosen.folder / name, content, overwrite=True)
        print(f"{name}: {'not current' if chosen.check else 'written'}")
    return int(chosen.check and bool(old))


if __name__ == "__main__":
    sys.exit(main())
