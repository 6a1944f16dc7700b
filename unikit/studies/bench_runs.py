"""What a motor on the bench shows: the equations between the true values of a run and the motor's parameters."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from ..formulas import motor
from ..inputs.bench import Run
from .run_equations import RunEquations, State

ZERO_CELSIUS = 273.15
PER_VOLT = motor.torque_constant_by_spinning(1.0, 1.0)  # torque constant per line volt rms and rotation
LEAST_ROOT = 0.05  # of 1 + s i^2: a search may pass through a negative s, which is no motor but must not end it

# The motor's own parameters.  Roll-off is 1 / saturation current squared: none is zero, so both signs can be estimated.
MOTOR = ("torque_constant_peak", "phase_resistance", "hysteresis_torque", "eddy_drag", "roll_off", "magnet_temperature_coefficient")
# What a run shows, in the order in which it is looked for.
SHOWN = {
    "resistance": ("line_resistance", "direct_voltage"),
    "spun": ("line_voltage_rms", "drive_torque", "drive_power"),
    "no load": ("direct_current", "phase_current_rms", "phase_current_peak"),
    "stall": ("force",),
}
# What else the equations take; temperatures that are missing are those of the reference.
TAKEN = {
    "resistance": {"line_resistance": ("winding_temperature",), "direct_voltage": ("direct_current", "winding_temperature")},
    "spun": {"line_voltage_rms": ("rotation", "magnet_temperature"), "drive_torque": ("rotation",), "drive_power": ("rotation",)},
    "no load": {
        "direct_current": (
            "rotation",
            "direct_voltage",
            "winding_temperature",
            "standby_power",
            "bridge_resistance",
            "magnet_temperature",
        ),
        "phase_current_rms": ("rotation", "magnet_temperature"),
        "phase_current_peak": ("rotation", "magnet_temperature"),
    },
    "stall": {"force": ("phase_current_peak", "lever_arm", "magnet_temperature")},
}
OVER = {"resistance": "winding_temperature", "spun": "rotation", "no load": "rotation", "stall": "phase_current_peak"}

STALL_CONSTANT = "torque constant by stall over that by spinning, less 1"
NO_LOAD_DRAG = "drag under own power over drag when spun, less 1"
CONTRASTS = {"stall": STALL_CONSTANT, "no load": NO_LOAD_DRAG}
# Which of the motor's parameters the equations of a run hold.
HELD = {
    "resistance": ("phase_resistance",),
    "spun": ("torque_constant_peak", "hysteresis_torque", "eddy_drag", "magnet_temperature_coefficient"),
    "no load": MOTOR,
    "stall": ("torque_constant_peak", "roll_off", "magnet_temperature_coefficient"),
}


def shown_by(run: Run) -> tuple[str, ...]:
    """What a run shows of the motor: one equation for each."""
    return tuple(name for name in SHOWN[run.kind] if name in run and not run[name].constant)


def _held_in(run: Run) -> tuple[str, ...]:
    """The quantities that the run's equations hold, constants too."""
    shown = shown_by(run)
    return tuple(name for name in dict.fromkeys((*shown, *(one for name in shown for one in TAKEN[run.kind][name]))) if name in run)


@dataclass(frozen=True)
class Equations(RunEquations):
    """The parameters of a motor's record and the equations of its runs."""

    contrasts: tuple[str, ...] = ()  # shares by which kinds of run may differ, to see whether they do

    @cached_property
    def runs(self) -> tuple[Run, ...]:
        """The runs that show something of the motor alone."""
        return self.bench.of_kind(*SHOWN)

    @cached_property
    def own(self) -> tuple[str, ...]:
        """The motor's parameters, the contrasts, and the lever's zero of each stall run."""
        return (*MOTOR, *self.contrasts, *(f"{run.name}:lever zero" for run in self.runs if run.kind == "stall"))

    def held_in(self, run: Run) -> tuple[str, ...]:
        """The quantities that the run's equations hold, constants too."""
        return _held_in(run)

    def own_held_by(self, run: Run) -> tuple[str, ...]:
        """The parameters, no instrument's, that a run's equations hold."""
        return (*HELD[run.kind], CONTRASTS.get(run.kind, ""), f"{run.name}:lever zero")

    def equation(self, run: Run) -> Callable[[np.ndarray, np.ndarray], np.ndarray]:
        """What each shown quantity of a run reads, less what it should read."""
        columns, shown = self.taken_by(run), shown_by(run)

        def off(values: np.ndarray, parameters: np.ndarray) -> np.ndarray:
            state = _State(self, run, dict(zip(columns, np.moveaxis(values, -1, 0), strict=True)), parameters)
            return np.stack([state.true(name) - state.expected(name) for name in shown], axis=-1)

        return off


class _State(State):
    """A run of the motor's at given readings and parameters."""

    def expected(self, name: str) -> np.ndarray:
        """What a quantity should be by the motor's parameters and the other quantities."""
        if name == "line_resistance":
            return 2 * self._resistance()
        if name == "direct_voltage":
            return 2 * self._resistance() * self.true("direct_current")
        if name == "line_voltage_rms":
            return self._constant() * self.true("rotation") / PER_VOLT
        if name == "drive_torque":
            return self._drag()
        if name == "drive_power":
            return self._drag() * self.true("rotation")
        if name == "phase_current_peak":
            return self._current()
        if name == "phase_current_rms":
            return self._current() / np.sqrt(2)
        if name == "direct_current":
            copper = 1.5 * (self._resistance() + self.true("bridge_resistance")) * self._current() ** 2
            return (self.true("standby_power") + copper + self.true("rotation") * self._drag()) / self.true("direct_voltage")
        return self._lever_torque() / self.true("lever_arm")

    def _resistance(self) -> np.ndarray:
        # in shares of the reference, because motor.resistance_at refuses what a search may pass through
        reference = self.equations.reference - ZERO_CELSIUS
        return self.of("phase_resistance") * motor.resistance_at(1.0, self.true("winding_temperature") - ZERO_CELSIUS, reference)

    def _constant(self) -> np.ndarray:
        coefficient = self.of("magnet_temperature_coefficient")
        temperatures = self.true("magnet_temperature") - ZERO_CELSIUS, self.equations.reference - ZERO_CELSIUS
        return motor.magnet_at(self.of("torque_constant_peak"), *temperatures, coefficient)

    def _drag(self) -> np.ndarray:
        # motor.iron_drag of a forward rotation, for estimates that may lie below zero; tested to be the same
        drag = self.of("hysteresis_torque") + self.of("eddy_drag") * self.true("rotation")
        return drag * (1 + self.of(NO_LOAD_DRAG)) if self.run.kind == "no load" else drag

    def _current(self) -> np.ndarray:
        torque, constant = self._drag(), self._constant()
        return torque / np.sqrt(np.maximum(constant**2 - self.of("roll_off") * torque**2, (LEAST_ROOT * constant) ** 2))

    def _lever_torque(self) -> np.ndarray:
        current, constant = self.true("phase_current_peak"), self._constant() * (1 + self.of(STALL_CONSTANT))
        root = np.sqrt(np.maximum(1 + self.of("roll_off") * current**2, LEAST_ROOT))
        return constant * current / root + self.of(f"{self.run.name}:lever zero")


def contrasts_of(runs: Iterable[Run]) -> tuple[str, ...]:
    """The shares by which two ways of measuring the same may differ, where a record holds both."""
    shown = {name for run in runs if run.kind in SHOWN for name in shown_by(run)}
    pairs = {
        STALL_CONSTANT: ({"line_voltage_rms"}, {"force"}),
        NO_LOAD_DRAG: ({"drive_torque", "drive_power"}, {"direct_current", "phase_current_rms", "phase_current_peak"}),
    }
    return tuple(name for name, (one, other) in pairs.items() if one & shown and other & shown)
