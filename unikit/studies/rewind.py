"""The same motor with other turns, more copper or another length: what a winding and a size change in a build."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping

import numpy as np

from ..formulas import winding
from ..inputs import Build, Spread, replace
from ..units import Values

# Iron, copper, magnets and the surfaces between them grow with the length of the stack.
_WITH_LENGTH = (
    "mass",
    "rotor_inertia",
    "hysteresis_torque",
    "eddy_drag",
    "winding_capacity",
    "stator_capacity",
    "housing_capacity",
    "winding_to_stator",
    "stator_to_housing",
    "housing_width",
)
_WITH_LENGTH_IF_DESCRIBED = ("magnet_capacity", "magnet_to_housing", "stack_length")
_AGAINST_LENGTH = ("phase_resistance", "quadrature_inductance")
_COILS = ("torque_constant_peak", "phase_resistance", "quadrature_inductance")


def with_turns(build: Build, turns: Values, copper: Values = 1.0) -> Build:
    """The build with its motor wound with ``turns`` times as many turns in the same slots.

    More turns are thinner turns, so resistance and inductance grow with the
    square of what the torque constant grows with.  Mass, iron and the paths of
    heat stay: a winding chooses between current and voltage, it gives no torque.
    Currents that stand for a field go with one over the turns: that which
    saturates, that which demagnetises, and that which the controller commands
    against the magnets.

    ``copper`` is the copper section of a slot over that before.  More of it
    lowers the resistance, and weighs and stores heat accordingly.
    """
    machine, controller = _motor(build), build.controller
    unit = winding.rewound(1.0, 1.0, 1.0, turns, copper)
    factors = {f"motor.{name}": factor for name, factor in zip(_COILS, unit, strict=True)}
    factors["motor.direct_inductance"] = unit.inductance
    factors |= {f"motor.{name}": winding.same_field_current(1.0, turns) for name in ("saturation_current", "demagnetising_current")}
    factors["controller.weakening_current"] = winding.same_field_current(1.0, turns)
    changes = {}
    if np.any(np.asarray(copper) != 1):
        factors["motor.winding_capacity"] = copper
        changes["motor.mass"] = machine.mass + (copper - 1) * machine.winding_capacity / winding.COPPER_HEAT
    parts = {"motor": machine, "controller": controller}
    for path, factor in factors.items():
        part, _, name = path.partition(".")
        if (value := getattr(parts[part], name)) is not None:
            changes[path] = factor * value
    return _with_spreads(build, replace(build, changes), {path: factors[path] for path in changes if path in factors})


def _with_spreads(before: Build, after: Build, factors: Mapping[str, Values]) -> Build:
    """The build with the spreads of numbers that were multiplied, multiplied too: another winding is not known any better."""
    spreads = {}
    for path, factor in factors.items():
        spread = before.spreads.get(path)
        if spread is not None and np.ndim(factor) == 0:
            spreads[path] = Spread(spread.shape, tuple(factor * end for end in spread.parameters))
    if not spreads:
        return after
    nominal = replace(after, {path: spread.nominal for path, spread in spreads.items()})  # to the last bit
    return dataclasses.replace(nominal, spreads=dict(nominal.spreads) | spreads)


def with_strands(build: Build, turns: Values, section: Values) -> Build:
    """The build with ``turns`` times as many turns, each of ``section`` times the copper: strands in hand, or another wire.

    Whether they fit into the slot is for ``winding.copper_fill`` to say; the copper in it is turns times section.
    """
    return with_turns(build, turns, turns * section)


def with_joining(build: Build, before: str, after: str) -> Build:
    """The build with the same coils joined the other way, "star" or "delta": it acts as other turns would."""
    return with_turns(build, winding.joining_ratio(before, after))


def with_length(build: Build, length: Values) -> Build:
    """The build with its motor ``length`` times as long, wound to the same torque constant.

    Half the length links half the flux and so needs twice the turns, each half
    as long and of half the copper section: resistance and inductance double.
    Rough, because the ends of the winding and the sides of the housing do not
    scale with length: a first guess before a real motor's numbers are known.
    """
    machine = _motor(build)
    described = (name for name in _WITH_LENGTH_IF_DESCRIBED if getattr(machine, name) is not None)
    changes = {f"motor.{name}": length * getattr(machine, name) for name in (*_WITH_LENGTH, *described)}
    return replace(build, changes | {f"motor.{name}": getattr(machine, name) / length for name in _AGAINST_LENGTH})


def _motor(build: Build):
    if build.motor is None:
        raise ValueError(f"build {build.name!r} has no motor: there is nothing to wind")
    return build.motor
