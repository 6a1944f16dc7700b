"""Variants of a build or a case: other values, or draws of the uncertain ones."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from typing import Any, TypeVar

import numpy as np

from .build import Build, Case
from .errors import InputError, show
from .fields import Named, nearest, specs
from .paths import find, leaves
from .reading import Reader
from .records import Partial, Record

W = TypeVar("W", Build, Case)
TEETH = ("sun_teeth", "planet_teeth", "ring_teeth", "planets")


def replace(whole: W, changes: Mapping[str, Any]) -> W:
    """A checked variant with other values under dotted paths.

    Numbers are in SI (arrays make a column of variants) or texts with a unit;
    ``None`` takes an optional part away.  A replaced number loses its spread,
    and a gear with another ratio loses the tooth counts that no longer give it.

    >>> from unikit.inputs import load_build
    >>> build = load_build("data/builds/harbour_commuter.toml")
    >>> replace(build, {"cranks.length": 0.125, "rider.mass": "71 kg"}).rider.mass
    71.0
    """
    tree = to_tree(whole, {path.partition(".")[0] for path in changes})
    reader = Reader(plain=True)
    spreads = dict(whole.spreads)
    for path, value in changes.items():
        if not _put(tree, type(whole), path, value, reader):
            continue
        spreads = {key: spread for key, spread in spreads.items() if key != path and not key.startswith(path + ".")}
    if reader.problems:
        raise InputError(reader.problems)
    _drop_stale_teeth(whole, tree, changes)
    reader.spreads.update(spreads)
    made = reader.record(type(whole), tree, "")
    if reader.problems or isinstance(made, Partial):
        raise InputError(reader.problems)
    return made


def draw(whole: W, count: int, seed: int) -> W:
    """The same build with an array of ``count`` draws for every uncertain number.

    Draws are cut off at the limits of their field.  The same seed gives the
    same draws, for each number whatever the others are.
    """
    if count < 1:
        raise ValueError(f"count must be at least 1, got {count}")
    drawn = {}
    for path, spread in whole.spreads.items():
        spec = find(type(whole), path)
        drawn[path] = spread.draw(count, seed, path, spec.low, spec.high)
    return replace(whole, drawn)


def draw_at(whole: W, probabilities: Mapping[str, np.ndarray]) -> W:
    """The same build with uncertain numbers at given probabilities of their spreads, such as quasi-random points.

    Numbers are cut off at the limits of their field; those without a
    probability stay at their nominal values and keep their spread.

    >>> from unikit.inputs import load_build
    >>> build = load_build("data/builds/harbour_commuter.toml")
    >>> draw_at(build, {"rider.mass": np.array([0.16, 0.5, 0.84])}).rider.mass.round(1).tolist()
    [76.5, 78.0, 79.5]
    """
    drawn = {}
    for path, share in probabilities.items():
        if path not in whole.spreads:
            known = ", ".join(whole.spreads) or "none"
            raise ValueError(f"{path!r} has no spread in {whole.name!r}{nearest(path, whole.spreads)}; those with one: {known}")
        share = np.asarray(share, float)
        if not np.all((share >= 0) & (share <= 1)):
            raise ValueError(f"probabilities of {path!r} must be from 0 to 1, got {np.array2string(share, threshold=6)}")
        spec = find(type(whole), path)
        drawn[path] = whole.spreads[path].quantile(share, spec.low, spec.high)
    return replace(whole, drawn)


def refuse_draws(study: str, *wholes: Build | Case) -> None:
    """ValueError for a build or case with a number that is a list of draws, for a study whose search has one answer at a time."""
    for whole in wholes:
        for path, spec, value in leaves(whole):
            if spec.form == "number" and np.ndim(value):
                raise ValueError(f"{path} of {whole.name!r} is a list of draws: the {study} study looks at one build in one case at a time")


def to_tree(record: Record, opened: Collection[str] | None = None) -> dict[str, Any]:
    """Tables of plain SI numbers, as a :class:`Reader` with ``plain`` takes them.

    Parts that are not ``opened`` stay the records that they are.
    """
    tree: dict[str, Any] = {}
    for spec in specs(type(record)).values():
        value = getattr(record, spec.name)
        if value is not None and spec.form != "spreads":
            tree[spec.name] = _plain(value) if opened is None or spec.name in opened else value
    return tree


def _plain(value: Any) -> Any:
    if isinstance(value, Record):
        return to_tree(value)
    if isinstance(value, (Named, dict)):
        return dict(value)
    if isinstance(value, (tuple, list)):
        return [_plain(item) for item in value]
    return value


def _put(tree: dict[str, Any], record: type, path: str, value: Any, reader: Reader) -> bool:
    """Set one value in the tables; a path that leads nowhere is noted."""
    try:
        spec = find(record, path)
    except ValueError as error:
        reader.complain(path, value, "the path of a field", str(error))
        return False
    at: Any = tree
    *steps, last = path.split(".")
    for depth, step in enumerate(steps):
        if isinstance(at, list):
            names = [item["name"] for item in at]
            found = next((item for item in at if item["name"] == step), None)
            if found is None:
                reader.complain(path, value, f"one of {', '.join(map(repr, names))}", f"{show(step)}{nearest(step, names)}")
                return False
            at = found
        elif step in at:
            at = at[step]
        else:
            missing = ".".join(steps[: depth + 1])
            reader.complain(path, value, f"a build with a table [{missing}]", "none")
            return False
    if isinstance(at, list) or (spec.name == "name" and spec.form == "word"):
        reader.complain(path, value, "the path of a value, or of a whole list of tables", "a name")
        return False
    at[last] = _plain(value)
    return True


def _drop_stale_teeth(whole: Build | Case, tree: dict[str, Any], changes: Mapping[str, Any]) -> None:
    """Tooth counts describe the train of the old ratio: another ratio is another train."""
    for path in changes:
        place, _, field = path.rpartition(".")
        if field == "ratio" and place.startswith("gears.gear.") and not any(f"{place}.{name}" in changes for name in TEETH):
            gear = next(item for item in tree["gears"]["gear"] if item["name"] == place.split(".")[2])
            if not np.array_equal(gear["ratio"], whole.gears.named(gear["name"]).ratio):
                for name in TEETH:
                    gear.pop(name, None)
