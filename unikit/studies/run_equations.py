"""Equations between what instruments read in the runs of a bench record and the parameters of the thing on the bench.

A reading is taken as (1 + scale error) times the true value plus a zero error
plus scatter.  Scale and zero belong to the instrument, so they are parameters
too, known beforehand as well as the record says.
"""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from ..formulas import fitting
from ..inputs.bench import Bench, Measured, Run


@dataclass(frozen=True)
class RunEquations(ABC):
    """The parameters of a record and the equations of its runs."""

    bench: Bench
    reference: float  # K

    @property
    @abstractmethod
    def runs(self) -> tuple[Run, ...]:
        """The runs whose equations these are."""

    @property
    @abstractmethod
    def own(self) -> tuple[str, ...]:
        """The parameters that are no instrument's."""

    @abstractmethod
    def held_in(self, run: Run) -> tuple[str, ...]:
        """The quantities that a run's equations hold, constants too."""

    @abstractmethod
    def own_held_by(self, run: Run) -> tuple[str, ...]:
        """The parameters, no instrument's, that a run's equations hold."""

    @abstractmethod
    def equation(self, run: Run) -> Callable[[np.ndarray, np.ndarray], np.ndarray]:
        """What each shown quantity of a run reads, less what it should read."""

    def taken_by(self, run: Run) -> tuple[str, ...]:
        """The measured columns that the run's equations hold."""
        return tuple(name for name in self.held_in(run) if not run[name].constant)

    @cached_property
    def instruments(self) -> dict[str, tuple[float, float]]:
        """Standard deviations of scale and zero by instrument."""
        found = {}
        for run in self.runs:
            for name in self.held_in(run):
                found[run[name].instrument] = run[name].common.share, run[name].common.fixed
        return dict(sorted(found.items()))

    @cached_property
    def names(self) -> tuple[str, ...]:
        """Every parameter: first those that are no instrument's, then scale and zero of each instrument."""
        scales = [f"{name}:scale" for name, (share, _) in self.instruments.items() if share]
        zeros = [f"{name}:zero" for name, (_, fixed) in self.instruments.items() if fixed]
        return (*self.own, *scales, *zeros)

    @cached_property
    def place(self) -> dict[str, int]:
        """Where each parameter stands."""
        return {name: place for place, name in enumerate(self.names)}

    @cached_property
    def known(self) -> np.ndarray:
        """Standard deviation with which each parameter was known beforehand: finite for scales and zeros."""
        deviation = np.full(len(self.names), np.inf)
        for name, parts in self.instruments.items():
            for part, size in zip(("scale", "zero"), parts, strict=True):
                if size:
                    deviation[self.place[f"{name}:{part}"]] = size
        return deviation

    def condition(self, run: Run) -> fitting.Condition:
        """The equations of a run with its measured values."""
        columns = self.taken_by(run)
        accuracies = [run[name].each for name in columns]

        def deviation(values: np.ndarray) -> np.ndarray:
            return np.stack([one.deviation(values[..., place]) for place, one in enumerate(accuracies)], axis=-1)

        measured = np.stack(np.broadcast_arrays(*(run.values(name) for name in columns)), axis=-1)
        return fitting.Condition(self.equation(run), measured, deviation, self._held_by(run))

    def _held_by(self, run: Run) -> list[int]:
        """Places of the parameters that a run's equations hold."""
        instruments, own = {run[name].instrument for name in self.held_in(run)}, self.own_held_by(run)
        return [place for place, name in enumerate(self.names) if name in own or name.rpartition(":")[0] in instruments]


@dataclass(frozen=True)
class State:
    """A run at given readings and parameters."""

    equations: RunEquations
    run: Run
    readings: dict[str, np.ndarray]
    parameters: np.ndarray

    def of(self, name: str) -> np.ndarray:
        """A parameter, one for all rows of a set; zero if the record has no such."""
        place = self.equations.place.get(name)
        return self.parameters[..., place, None] if place is not None else np.zeros(1)

    def true(self, name: str) -> np.ndarray:
        """A quantity without the errors of its instrument."""
        if name not in self.run:
            return np.full(1, self.equations.reference)
        one: Measured = self.run[name]
        reading = one.values[..., None] if one.constant else self.readings[name]
        return (reading - self.of(f"{one.instrument}:zero")) / (1 + self.of(f"{one.instrument}:scale"))
