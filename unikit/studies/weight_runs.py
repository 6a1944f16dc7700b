"""What a torque sensor under weights shows: the equations between the true values of a series and the sensor's parameters."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from ..formulas import calibration, fitting
from ..inputs import weights
from ..inputs.bench import Run
from .run_equations import RunEquations, State

# The sensor's own parameters.
SENSOR = ("offset", "gain", "hysteresis", "zero_drift", "gain_drift")
# What the straight line leaves out, to see whether the readings ask for it.
BOW = "bow at half of full scale, as a share of full scale"
SIDE = "gain backward over forward, less 1"
LEVER = ("hung_mass", "crank_length", "crank_angle", "local_gravity")


def sign(run: Run) -> float:
    """Plus for the forward side."""
    return 1.0 if run.words["side"] == weights.FORWARD else -1.0


def torque(run: Run) -> np.ndarray:
    """The torque of each reading by what was declared, positive forwards."""
    mass, length, angle, gravity = (run.values(name) for name in LEVER)
    if run["crank_angle"].constant:
        angle = angle[..., None]
    return sign(run) * calibration.hung_torque(mass, gravity[..., None], length[..., None], angle)


def turning(run: Run) -> int:
    """The reading after which weights are taken off: many records of one plan turn at the same."""
    masses = run.values("hung_mass")
    return weights.top(masses.reshape(-1, masses.shape[-1])[0])


def unloading(run: Run) -> np.ndarray:
    """Which readings were taken on the way down."""
    return np.arange(run.values("hung_mass").shape[-1]) > turning(run)


def volts(run: Run) -> np.ndarray:
    """What the sensor showed, in volts."""
    if "sensor_output" in run:
        return run.values("sensor_output")
    return run.values("converter_counts") * _per_count(run)


def _per_count(run: Run) -> np.ndarray:
    return (run.values("converter_range") / 2.0 ** run.values("converter_bits"))[..., None]


def shown_by(run: Run) -> str:
    """The column in which the sensor's output stands."""
    return "sensor_output" if "sensor_output" in run else "converter_counts"


@dataclass(frozen=True)
class Equations(RunEquations):
    """The parameters of a record of weights and the equations of its series."""

    contrasts: tuple[str, ...] = ()
    one_temperature: bool = False  # then no drift is told, and the thermometer's scatter must not be made to tell one

    @cached_property
    def runs(self) -> tuple[Run, ...]:
        """The series with weights."""
        return self.bench.of_kind(weights.KIND)

    @cached_property
    def full_scale(self) -> float:
        """The greatest torque of the record."""
        return max(float(np.max(np.abs(torque(run)))) for run in self.runs)

    @property
    def own(self) -> tuple[str, ...]:
        """The sensor's parameters and the contrasts."""
        return (*SENSOR, *self.contrasts)

    def held_in(self, run: Run) -> tuple[str, ...]:
        """The quantities that the equations hold, constants too."""
        converter = () if "sensor_output" in run else ("converter_range", "converter_bits")
        shift = ("zero_shift",) if "zero_shift" in run else ()
        return (*LEVER, "sensor_temperature", shown_by(run), *converter, *shift)

    def own_held_by(self, run: Run) -> tuple[str, ...]:
        """Every series holds them all."""
        return self.own

    def scattering(self, run: Run, scatter: np.ndarray) -> fitting.Condition:
        """The equations of a series whose sensor scatters by itself, in volts."""
        plain = self.condition(run)
        columns = self.taken_by(run)
        place = columns.index(shown_by(run))
        warm = columns.index("sensor_temperature") if self.one_temperature and "sensor_temperature" in columns else None
        own = np.asarray(scatter)[..., None] / (1.0 if "sensor_output" in run else _per_count(run))

        def deviation(values: np.ndarray) -> np.ndarray:
            found = plain.deviation(values)
            found[..., place] = np.hypot(found[..., place], own)
            if warm is not None:
                found[..., warm] = 0.0
            return found

        return plain._replace(deviation=deviation)

    def equation(self, run: Run) -> Callable[[np.ndarray, np.ndarray], np.ndarray]:
        """What the sensor shows in each reading, less what it should show."""
        columns, shift = self.taken_by(run), "zero_shift" in run

        def off(values: np.ndarray, parameters: np.ndarray) -> np.ndarray:
            state = _State(self, run, dict(zip(columns, np.moveaxis(values, -1, 0), strict=True)), parameters)
            left = state.shown() - state.expected()
            return (left - state.true("zero_shift") if shift else left)[..., None]

        return off


@dataclass(frozen=True)
class _State(State):
    """A series at given readings and parameters."""

    def shown(self) -> np.ndarray:
        """The output in volts."""
        if "sensor_output" in self.run:
            return self.true("sensor_output")
        return self.true("converter_counts") * self.true("converter_range") / 2.0 ** self.true("converter_bits")

    def expected(self) -> np.ndarray:
        """What the output should be, in volts."""
        mass, length, angle, gravity = (self.true(name) for name in LEVER)
        side, arm = sign(self.run), gravity * length
        hung = (
            side * mass * arm * np.cos(angle)
        )  # calibration.hung_torque of a true mass that may scatter below zero; tested to be the same
        masses, heaviest = self.run.values("hung_mass"), turning(self.run)
        tilt = self.run.values("crank_angle")
        greatest = (
            side
            * masses[..., heaviest, None]
            * arm
            * np.cos(tilt[..., None] if self.run["crank_angle"].constant else tilt[..., heaviest, None])
        )
        way = np.where(unloading(self.run), 1.0, -1.0)
        acting = hung + way * calibration.loop_half_width(hung, greatest, self.of("hysteresis"))
        if BOW in self.equations.contrasts:
            acting = acting + self.of(BOW) * calibration.loop_half_width(hung, side * self.equations.full_scale, 1.0)
        gain = self.of("gain")
        if SIDE in self.equations.contrasts and side < 0:
            acting = acting * (1 + self.of(SIDE))
        named = (self.of(name) for name in ("zero_drift", "gain_drift"))
        return calibration.output(acting, self.true("sensor_temperature"), self.of("offset"), gain, *named, self.equations.reference)
