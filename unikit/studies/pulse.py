"""Motor torque that pulses as the legs do, and the copper loss that it costs."""

from __future__ import annotations

import numpy as np

from .. import units as u
from ..formulas import magnetics, motor
from ..formulas._bracket import crossing
from ..inputs import Build
from .drive import ROOM, Drive, drive
from .split import over_quarter

FULL = 1 - 1e-9  # share of the torque that saturation leaves to any current


def copper_loss(build: Build, torque: u.Values, magnet_temperature: u.Values) -> u.Watt:
    """Copper loss at 20 °C of a motor torque with this mean over the turn; inf where no current gives its peak.

    The current is all in the quadrature axis: what field weakening adds at
    high speed is not in it.
    """
    return _loss(build, np.asarray(torque, float), drive(build, winding_temperature=ROOM, magnet_temperature=magnet_temperature))


def torque(build: Build, copper: u.Values, magnet_temperature: u.Values) -> u.NewtonMetre:
    """Mean over the turn of the motor torque that costs a copper loss at 20 °C."""
    state = drive(build, winding_temperature=ROOM, magnet_temperature=magnet_temperature)
    copper = np.asarray(copper, float)
    unlimited = np.sqrt(copper / _loss(build, 1.0, state, saturates=False))
    if not np.all(np.isfinite(state.saturation_current)):
        return unlimited
    felt, _ = over_quarter(build)
    most = np.minimum(unlimited, FULL * state.torque_constant_peak * state.saturation_current / felt.max(axis=-1))
    found = crossing(lambda at: _loss(build, at, state) - copper, 0 * most, most, 1e-12 * (most + 1e-6))
    return np.where(np.isfinite(found), found, np.where(found < 0, 0.0, most))[()]


def _loss(build: Build, mean: u.Values, state: Drive, saturates: bool = True) -> u.Values:
    felt, weights = over_quarter(build)
    constant, limit = (np.asarray(part)[..., None] for part in (state.torque_constant_peak, state.saturation_current))
    there = np.asarray(mean)[..., None] * felt
    if saturates:
        within = np.abs(there) < constant * limit
        current = np.where(within, magnetics.current_when_saturated(np.where(within, there, 0.0), constant, limit), np.inf)
    else:
        current = motor.current_for_torque(there, constant)
    return np.sum(weights * motor.copper_loss(current, np.asarray(state.phase_resistance)[..., None]), axis=-1)
