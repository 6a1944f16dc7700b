"""Currents of a permanent-magnet machine behind its inverter and pack: behind ``reach``.

Everything is solved for forward rotation, one machine and rotation per element
of flat arrays.  What inverter and pack allow is one function of the two
currents, ``slack``: above 0 where a bus voltage exists that the pack gives at
this power and that makes this phase voltage.  Without saturation and saliency
it is concave, so that Newton's method from outside closes in on its edge from
one side.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

FAR = 1e5  # ampere: where a torque is sought that saturation does not let any current give

_LAST = 1e-8  # relative size of a step of Newton's method after which the error is that of the numbers themselves


class Machine(NamedTuple):
    """One row of numbers for each element; currents and flux linkages are phase peaks."""

    turning: np.ndarray  # mechanical, at or above 0
    rate: np.ndarray  # electrical
    torque_per_flux: np.ndarray  # 3/2 times the pole pairs
    flux: np.ndarray
    direct: np.ndarray  # inductances
    quadrature: np.ndarray
    roll: np.ndarray  # one over the saturation current
    resistance: np.ndarray  # with the bridge
    source: np.ndarray  # open-circuit voltage
    inner: np.ndarray  # resistance of the packs
    standby: np.ndarray
    share: np.ndarray  # phase voltage over bus voltage
    weakening: np.ndarray  # greatest current against the magnets; 0 keeps the direct current at 0

    def at(self, chosen: np.ndarray) -> Machine:
        """Some of the elements."""
        return Machine(*(part[chosen] for part in self))


def left(m: Machine, y: np.ndarray) -> np.ndarray:
    """Share of the magnets' flux that a quadrature current leaves."""
    return 1 / np.sqrt(1 + (m.roll * y) ** 2)


def torque(m: Machine, x: np.ndarray, y: np.ndarray) -> np.ndarray:
    """Torque of a direct and a quadrature current."""
    return m.torque_per_flux * y * (m.flux * left(m, y) + (m.direct - m.quadrature) * x)


def slopes(m: Machine, x: np.ndarray, y: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Torque per direct and per quadrature current."""
    apart = m.direct - m.quadrature
    return m.torque_per_flux * apart * y, m.torque_per_flux * (m.flux * left(m, y) ** 3 + apart * x)


def power(m: Machine, x: np.ndarray, y: np.ndarray) -> np.ndarray:
    """Power out of the bus."""
    return 1.5 * m.resistance * (x**2 + y**2) + torque(m, x, y) * m.turning + m.standby


def voltages(m: Machine, x: np.ndarray, y: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Phase voltage in the two axes, bridge included."""
    return (
        m.resistance * x - m.rate * m.quadrature * y,
        m.resistance * y + m.rate * (m.flux * left(m, y) + m.direct * x),
    )


def slack(m: Machine, x: np.ndarray, y: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """What bus voltage and power leave, with its slopes over direct and quadrature current.

    U² − E·U + R_p·P = 0 has a root U at or above the wanted voltage q exactly
    where E²/4 − max(q − E/2, 0)² − R_p·P is at or above 0.
    """
    kept, apart = left(m, y), m.direct - m.quadrature
    linked = m.flux * kept
    along = m.resistance * x - m.rate * m.quadrature * y
    across = m.resistance * y + m.rate * (linked + m.direct * x)
    wanted = np.sqrt(along**2 + across**2)
    excess = np.maximum(wanted / m.share - m.source / 2, 0.0)
    pull = 2 * excess / (m.share * np.maximum(wanted, 1e-100))
    ohmic, work = 3 * m.resistance, m.turning * m.torque_per_flux
    drawn = ohmic / 2 * (x**2 + y**2) + work * y * (linked + apart * x) + m.standby
    lost = m.rate * linked * (m.roll * kept) ** 2 * y
    return (
        m.source**2 / 4 - excess**2 - m.inner * drawn,
        -pull * (along * m.resistance + across * m.rate * m.direct) - m.inner * (ohmic * x + work * apart * y),
        -pull * (across * (m.resistance - lost) - along * m.rate * m.quadrature)
        - m.inner * (ohmic * y + work * (linked * kept**2 + apart * x)),
    )


def quadrature(m: Machine, wanted: np.ndarray, x: np.ndarray) -> np.ndarray:
    """Quadrature current that gives a torque beside a direct current."""
    pull = wanted / m.torque_per_flux
    rest = np.maximum(1 - (m.roll * pull / m.flux) ** 2, 1e-12)
    y = pull / (m.flux * np.sqrt(rest))
    for _ in range(60 if salient(m) else 0):
        step = (torque(m, x, y) - wanted) / np.maximum(slopes(m, x, y)[1], 1e-9 * m.torque_per_flux * m.flux)
        y = np.clip(y - step, -FAR, FAR)
        if np.all(np.abs(step) <= _LAST * np.abs(y) + 1e-300):
            break
    return y


def favoured(m: Machine, y: np.ndarray) -> np.ndarray:
    """Direct current with which a quadrature current gives most torque per ampere, as far as it may go against the magnets."""
    apart = m.quadrature - m.direct
    pull = m.flux * left(m, y) ** 3
    return np.where(m.weakening > 0, np.maximum(-2 * apart * y**2 / (pull + np.hypot(pull, 2 * apart * y)), -m.weakening), 0.0)


def _turn(m: Machine, x: np.ndarray, y: np.ndarray) -> np.ndarray:
    """How the favoured direct current changes with the quadrature current; 0 where it is at the end of what may go against the magnets."""
    apart, kept = m.quadrature - m.direct, left(m, y)
    pull = m.flux * kept**3
    return np.where(x > -m.weakening, (2 * apart * y - 3 * pull * (m.roll * kept) ** 2 * y * x) / (2 * apart * x - pull), 0.0)


def salient(m: Machine) -> bool:
    """Whether the direct current of any element matters for its torque."""
    return bool(np.any((m.direct != m.quadrature) & (m.weakening > 0)))


def linear(m: Machine) -> bool:
    """Whether torque and current are in proportion in every element."""
    return not (np.any(m.roll) or salient(m))


def least(m: Machine, wanted: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Currents that give a torque with the least of them, voltage aside; infinite beyond what saturation allows."""
    pull = wanted / (m.torque_per_flux * m.flux)
    rest = 1 - (m.roll * pull) ** 2
    y = np.where(rest > 0, pull / np.sqrt(np.maximum(rest, 1e-300)), np.copysign(np.inf, pull))
    if not salient(m):
        return np.zeros_like(y), y
    # With reluctance torque less current is enough: Newton's method along the line of most torque per ampere.
    y = np.where(np.isfinite(y), y, np.copysign(2 / np.maximum(m.roll, 1e-300), pull))
    for _ in range(60):
        x = favoured(m, y)
        by_direct, by_quadrature = slopes(m, x, y)
        step = (wanted - torque(m, x, y)) / (by_quadrature + by_direct * _turn(m, x, y))
        y = y + step
        if np.all(np.abs(step) <= _LAST * np.abs(y) + 1e-300):
            break
    reached = np.abs(torque(m, favoured(m, y), y) - wanted) <= 1e-9 * np.abs(wanted)
    y = np.where(reached, y, np.copysign(np.inf, pull))
    return np.where(reached, favoured(m, np.where(reached, y, 0.0)), 0.0), y


def commanded(
    m: Machine, wanted: np.ndarray, start: tuple[np.ndarray, np.ndarray] | None = None
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Currents that the controller sets for a torque, and the slack they leave: as little against the magnets as the voltage lets it.

    The least currents of the torque may be given, where they are known.
    """
    x, y = least(m, wanted) if start is None else start
    finite = np.isfinite(y)
    spare = np.where(finite, slack(m, x, np.where(finite, y, 0.0))[0], -np.inf)
    short = np.flatnonzero(finite & (spare < 0) & (m.weakening > 0))
    if short.size:
        x, y, spare = x.copy(), y.copy(), spare.copy()
        x[short], y[short] = _weakened(m.at(short), wanted[short], x[short], y[short])
        spare[short] = slack(m.at(short), x[short], y[short])[0]
    return x, y, spare


def _weakened(m: Machine, wanted: np.ndarray, x: np.ndarray, y: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """From outside the voltage limit along equal torque to its edge, or to the end of what may go against the magnets."""
    low = -m.weakening
    for _ in range(60):
        value, by_x, by_y = slack(m, x, y)
        along_x, along_y = slopes(m, x, y)
        missing = wanted - torque(m, x, y)
        turn = by_x * along_y - by_y * along_x
        step_x = -(value * along_y + by_y * missing) / np.where(turn < 0, turn, -1e-300)
        step_x = np.where(turn < 0, step_x, -np.inf)  # past the edge that more weakening can reach: as far as it goes
        ahead = np.maximum(x + np.where(np.abs(value) > 1e-15 * m.source**2, step_x, 0.0), low)
        moved = ahead - x
        step_y = (missing - along_x * moved) / along_y
        x, y = ahead, y + step_y
        if np.all((np.abs(moved) <= _LAST * m.weakening) & (np.abs(step_y) <= _LAST * np.abs(y) + 1e-300)):
            break
    return x, y
