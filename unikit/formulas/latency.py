"""How slow the assist may be: the dead time from which a gain is no longer stable."""

from __future__ import annotations

import numpy as np

from .. import units as u
from . import _response, _window
from .checks import not_negative
from .reflex import Path, Plant, Reflex, gain_window
from .registry import formula


@formula(
    equation=r"e^{-j\omega\tau} = W(\omega) = -\frac{1 + \lambda Q}{k H_0 Q},\quad"
    r" \tau = \min_{|W(\omega)| = 1} \frac{-\arg W \bmod 2\pi}{\omega}",
    source="nyquist_gain",
    valid="small deviations from a steady ride; filter and motor lag kept, dead time varied from zero",
)
def dead_time_budget(
    plant: Plant,
    reflex: Reflex,
    path: Path,
    gear_leverage: u.Ratio,
    gear_ratio: u.Ratio,
    assist_gain: u.Ratio,
) -> u.Second:
    """The dead time of the assist from which its gain is no longer stable; the path's own dead time does not count.

    Zero where the gain is not stable even without dead time, endless where no
    dead time matters: without assist, or where the rider alone outweighs it.

    Args:
        plant: the machine near its steady ride.
        reflex: the rider.
        path: filter corner and motor lag of the assist; its dead time is not used.
        gear_leverage: wheel torque per crank torque through the gear alone.
        gear_ratio: wheel turns per crank turn.
        assist_gain: motor torque at the wheel per torque at the crank.

    >>> plant = Plant(41.5, 0.19, 0.0, -29.0, 0.14, -0.03, 0.36)
    >>> rider = Reflex(300.0, 54.0, 0.0, 0.02, 0.1, 0.03, 2.0, 40.0, 0.2)
    >>> budget = dead_time_budget(plant, rider, Path(0.0, 10.0, 0.003), 0.65, 1.5, 0.35)
    >>> round(budget, 4), gain_window(plant, rider, Path(budget, 10.0, 0.003), 0.65, 1.5).onset_gain.__round__(6)
    (0.0446, 0.35)
    """
    not_negative("assist_gain", assist_gain)
    prompt = path._replace(dead_time=0.0)
    window = gain_window(plant, reflex, prompt, gear_leverage, gear_ratio, greatest_gain=max(4.0, 2.0 * float(np.max(assist_gain))))
    whole = _window.Loop(*plant, *reflex, 0.0, 0.5 / (np.pi * path.filter_corner), path.motor_lag, gear_leverage, gear_ratio)
    shape = np.broadcast_shapes(np.shape(assist_gain), *(np.shape(part) for part in whole))
    gain, low, high, found = (
        np.broadcast_to(part, shape).reshape(-1)
        for part in (assist_gain, window.toppling_gain, window.onset_gain, np.equal(window.reason, ""))
    )
    budget = np.where(found & (gain >= low) & (gain < high), np.inf, 0.0)
    rows = np.nonzero((budget > 0) & (gain > 0))[0]
    if len(rows):
        loop, _ = _window.columns(_window.Loop(*(np.broadcast_to(part, shape) for part in whole)))
        budget[rows] = _first_crossing(_window.rows_of(loop, rows), gain[rows][:, None])
    return budget.reshape(shape) if shape else budget[0].item()


def _first_crossing(loop: _window.Loop, gain: np.ndarray) -> np.ndarray:
    """The smallest dead time that puts a root on the imaginary axis."""

    def needed(rate: np.ndarray) -> np.ndarray:
        parts = _window.response(rate, loop)
        return -(parts.pole + loop.gear_leverage * parts.rider) / (gain * parts.lag * parts.rider)

    omega = _window.grid(loop, float(np.max(gain)))
    rate, there, real = _response.crossings(omega, needed(omega), needed, lambda response: np.log(np.abs(response)))
    time = np.mod(-np.angle(there), 2 * np.pi) / np.where(real, rate, 1.0)
    return np.where(real, time, np.inf).min(axis=-1)
