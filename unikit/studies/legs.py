"""What the legs of a build can give at its cranks."""

from __future__ import annotations

import numpy as np

from ..formulas import pedalling
from ..inputs import Build
from ..units import Values


def greatest_torque(build: Build, cadence: Values, resisting: Values = False, crank_length: Values | None = None) -> Values:
    """Greatest mean crank torque over a turn in a short effort at a cadence, driving or resisting (as a size).

    The rider's line was measured on the reference cranks.  Other cranks scale
    torque with length and cadence against it, which leaves the greatest power
    as it is (crank length has little effect on it: MSSE 43:1689).  Another
    length than the build's may be asked about.
    """
    scale = (build.cranks.length if crank_length is None else crank_length) / build.cranks.reference_length
    line = pedalling.torque_at_cadence(build.rider.zero_cadence_torque * scale, build.rider.zero_torque_cadence / scale, np.abs(cadence))
    return np.where(resisting, build.rider.backward_strength, 1.0) * line


def endurance(build: Build, power: Values) -> Values:
    """Time for which the legs hold a power; no limit at or below critical power."""
    return pedalling.time_to_exhaustion(np.maximum(power, 0.0), build.rider.critical_power, build.rider.work_capacity)
