"""The same motor with other turns or another length: what a winding and a size change in a build."""

from __future__ import annotations

from ..inputs import Build, replace
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


def with_turns(build: Build, turns: Values) -> Build:
    """The build with its motor wound with ``turns`` times as many turns in the same slots.

    More turns are thinner turns, so resistance and inductance grow with the
    square of what the torque constant grows with.  Mass, iron and the paths of
    heat stay: a winding chooses between current and voltage, it gives no torque.
    """
    machine = _motor(build)
    return replace(
        build,
        {
            "motor.torque_constant_peak": turns * machine.torque_constant_peak,
            "motor.phase_resistance": turns**2 * machine.phase_resistance,
            "motor.quadrature_inductance": turns**2 * machine.quadrature_inductance,
        },
    )


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
