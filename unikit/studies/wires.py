"""The leads of a build: what flows in each, how warm it gets, and what it bears."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property, lru_cache

import numpy as np

from .. import units as u
from ..formulas import duty, heat, pack, wiring
from ..inputs import Build, Case, Gear, Wiring
from .drive import supply
from .steady import steady

LEADS = ("pack lead", "main lead", "motor lead")
INSULATION = 0.8e-3  # metre, where the build does not say it
SLEEVE_AIR = 1e-3  # still air between the leads and a sleeve around them
TOGETHER = {"free": np.array([1, 1, 1]), "sleeve": np.array([2, 2, 3])}  # conductors side by side: out and back, or three phases


def lead_resistance(made: Wiring, celsius: float = 20.0) -> u.Ohm:
    """Resistance of one pack's lead, out and back."""
    return wiring.wire_resistance(2 * made.pack_length, made.pack_area, celsius)


def plug_resistance(made: Wiring) -> u.Ohm:
    """Resistance of both contacts of a pack's plug; nothing where it is not stated."""
    return 2 * (made.connector_resistance or 0.0)


@dataclass(frozen=True)
class Flow:
    """Currents of a build in a case, and at the limits of its controller; in the order of ``LEADS``.

    Three motor leads in one sleeve share their warmth, so at the limit the rms
    of their currents counts, turning or not.  Leads apart do not: while the
    motor stands, one of them may carry the peak all the time.
    """

    gear: str
    rms: np.ndarray
    limit: np.ndarray
    share: float  # of the main lead's current that the busiest pack carries
    fused: int  # packs whose fuses together feed the main lead
    in_line: int  # packs in series, whose leads carry one current
    full: float  # voltage of all packs when full
    source: float  # resistance of all packs together
    short: float  # greatest current through one fuse if something shorts


def flow(build: Build, case: Case, gear: Gear | None = None) -> Flow:
    """What flows; rms over the turn of the crank, for that is what warms."""
    if build.motor is None:
        raise ValueError(f"build {build.name!r} has no motor: the wiring study needs one")
    gear = gear or build.gears.named(build.gears.engaged)
    state, _, split = steady(build, case, gear)
    main = np.sqrt(split.pack_loss / state.pack_resistance)
    phase = np.sqrt(split.copper_loss / (3 * state.phase_resistance))
    packs, series = build.packs.pack, build.packs.joined == "series"
    conductance = 1 / np.array([float(_resistance(one)) for one in packs])
    share = 1.0 if series else float(conductance.max() / conductance.sum())
    full = [float(pack.string_voltage(one.curve_voltage[-1], one.series)) for one in packs]
    apart = build.wiring is not None and build.wiring.laid == "free"
    most = build.controller.battery_current_limit, build.controller.phase_current_limit / (1.0 if apart else np.sqrt(2))
    voltage, source = sum(full) if series else max(full), float(supply(build.packs, 1.0).resistance)
    return Flow(
        gear=gear.name,
        rms=np.array([share * main, main, phase], float),
        limit=np.array([share * most[0], most[0], most[1]], float),
        share=share,
        fused=1 if series else len(packs),
        in_line=len(packs) if series else 1,
        full=voltage,
        source=source,
        short=voltage / source if series else voltage * _through_one_fuse(conductance),
    )


def _resistance(one) -> u.Ohm:
    return pack.string_resistance(one.cell_resistance, one.series, one.parallel, one.wiring_resistance)


def _through_one_fuse(conductance: np.ndarray) -> float:
    """Greatest conductance behind one fuse: its own pack, or all others that feed a fault on its pack's side."""
    return float(max(conductance.max(), conductance.sum() - conductance.min()))


@dataclass(frozen=True)
class Leads:
    """The three leads in the air of a case."""

    made: Wiring
    air: float

    @property
    def section(self) -> np.ndarray:
        """Copper of each."""
        return np.array([self.made.pack_area, self.made.main_area, self.made.phase_area], float)

    @property
    def length(self) -> np.ndarray:
        """Length of each, one way."""
        return np.array([self.made.pack_length, self.made.main_length, self.made.phase_length], float)

    @cached_property
    def around(self) -> dict:
        """How they lie and what is around them."""
        return around(self.made)

    def warm(self, current: np.ndarray) -> np.ndarray:
        """Temperatures in the end."""
        return wiring.conductor_temperature(current, self.section, self.air, **self.around)

    def bears(self) -> np.ndarray:
        """Currents that warm them to the limit of their insulation."""
        return _bears(self)

    def resistance(self, temperature: np.ndarray) -> np.ndarray:
        """Ohms per metre of one conductor, as warm as it is; up to where the formula for copper goes."""
        return wiring.wire_resistance(1.0, self.section, np.minimum(temperature - 273.15, 400.0))

    def conductance(self) -> np.ndarray:
        """Heat per kelvin and metre that leaves one conductor which is as warm as its insulation may be."""
        limit = max(self.made.insulation_limit, self.air + 1e-3)
        return np.square(self.bears()) * self.resistance(np.full(3, limit)) / (limit - self.air)

    def capacity(self) -> np.ndarray:
        """Heat capacity of a metre of one conductor."""
        return wiring.lead_capacity(1.0, self.section, self.around["insulation_thickness"])

    def time_constant(self) -> np.ndarray:
        """Time constants near the limit of the insulation."""
        return heat.time_constant(1 / np.maximum(self.conductance(), 1e-9), self.capacity())

    def time_to_limit(self, current: np.ndarray, start: np.ndarray) -> np.ndarray:
        """Time at a current until the insulation is at its limit, from a temperature; inf where it never is.

        What heats less what leaves is a straight line from the start to the limit; which of its ends is larger does not matter.
        """
        limit = np.full(3, float(self.made.insulation_limit))
        net = [np.square(current) * self.resistance(at) - self.conductance() * (at - self.air) for at in (start, limit)]
        reached = (net[1] > 0) & (limit > start)
        first, last = (np.where(reached, one, 1.0) for one in net)
        slow = duty.adiabatic_time(np.maximum(limit - start, 0.0), self.capacity(), np.minimum(first, last), np.maximum(first, last))
        return np.where(reached, slow, np.where(start >= limit, 0.0, np.inf))


@lru_cache(8)  # the same for every case and gear in air of one temperature
def _bears(leads: Leads) -> np.ndarray:
    found = wiring.ampacity(leads.section, leads.made.insulation_limit, leads.air, **leads.around)
    found.setflags(write=False)  # shared by all who ask
    return found


def around(made: Wiring | None) -> dict:
    """What the formulas for warmth are told: conductors side by side, insulation, still air; a sleeve where nothing is said."""
    laid = "sleeve" if made is None else made.laid
    thick = None if made is None else made.insulation_thickness
    return {
        "conductors": TOGETHER[laid],
        "insulation_thickness": INSULATION if thick is None else thick,
        "air_layer": SLEEVE_AIR if laid == "sleeve" else 0.0,
    }
