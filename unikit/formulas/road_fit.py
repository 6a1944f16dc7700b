"""What a ride says of rolling, drag, drive and wind: the energy balance of its stretches as a regression with its own noise.

The wind is steady but for gusts, which remember themselves for a while and so
make neighbouring stretches alike.  The barometer errs at the ends of stretches,
which neighbours share.  Both are modelled and found with restricted maximum
likelihood; the errors count that they were found from the same stretches.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from .. import units as u
from . import _restricted, gusts
from .checks import positive
from .gusts import Pressure, end_noise, gust_likeness
from .registry import formula
from .road import GRAVITY

PARAMETERS = (
    "rolling_coefficient",
    "drag_area",
    "drive_efficiency",
    "wind_from_north",
    "wind_from_east",
    "torque_zero",
    "torque_scale",
    "electrical_scale",
)
FITTED = PARAMETERS[:5]  # the others are errors of sensors, known beforehand within limits
NOISE = ("gust deviation", "gust time", "altitude noise", "altitude drift", "force noise", "slow force")
# What is known of the noise before a ride: median, and the standard deviation of the logarithm. Common practice, no source.
KNOWN_NOISE = np.log([0.8, 20.0, 0.1, 0.01, 1.0, 0.2])  # m/s, s, m, m/s^0.5, N s^0.5, N
KNOWN_NOISE_DEVIATION = np.array([1.0, 1.0, 1.0, 1.0, 1.0, 0.7])
SLOW = 200.0  # s in which surface, posture and the sensors' zeros change
LOWEST, HIGHEST = np.array([-0.02, 0.02, 0.4]), np.array([0.1, 3.0, 1.2])  # beyond these no trial goes
STRONGEST_WIND = 20.0  # m/s
MOST_TURNS = 60
LITTLE = 1e-3  # of a standard error: a change below that ends the search
STEP = 1e-4  # of the logarithm of a time
GUST_STEP = 0.01  # of the logarithm of a deviation


class Account(NamedTuple):
    """Stretches of one ride or of many, along the last axis, with what an energy balance needs of each.

    ``used`` is false where an array is longer than its ride.  ``shared`` says
    that a stretch ends where the next one begins.
    """

    start: u.Second
    duration: u.Second
    distance: u.Metre
    speed: u.MetrePerSecond  # mean over the way
    speed_deviation: u.MetrePerSecond  # over the way
    north: u.Ratio  # mean cosine of the heading over the way
    east: u.Ratio  # mean sine
    rise: u.Metre
    gain: u.Joule  # of kinetic and potential energy
    drive_work: u.Joule  # of the pedals while they drive, as the sensor says
    drive_turn: u.Radian  # of the crank in that time
    hold_work: u.Joule  # of the pedals while they hold back, negative
    hold_turn: u.Radian
    motor_work: u.Joule  # at the wheel, after the motor's own losses
    motor_slope: u.Joule  # its change per relative change of the electrical power
    answer: u.Ratio  # work of the motor that follows each work of the pedals: assist gain times gear ratio
    shared: bool | np.ndarray
    used: bool | np.ndarray


class Machine(NamedTuple):
    """What is taken as known of machine and air."""

    mass: u.Kilogram
    air_density: u.KilogramPerCubicMetre
    bearing_drag: u.Newton
    bearing_drag_per_speed: u.NewtonSecondPerMetre


class Sensors(NamedTuple):
    """What is known of the sensors before the fit, with standard deviations."""

    torque_zero: u.NewtonMetre  # reading without torque, as it was seen while standing
    torque_zero_deviation: u.NewtonMetre
    torque_scale_deviation: u.Ratio
    electrical_scale_deviation: u.Ratio


class RoadFit(NamedTuple):
    """Parameters in the order of ``PARAMETERS`` with their covariance, and what is left in each stretch."""

    value: u.Number
    covariance: u.Number
    freedom: u.Number
    noise: u.Number  # logarithms in the order of ``NOISE``
    noise_covariance: u.Number
    residual: u.Newton  # force that the parameters do not explain, mean over each stretch
    by_others: u.Number  # of each stretch: how far it is from what all others make expected, in standard deviations
    settled: bool | np.ndarray  # at rest, and not at the end of what a trial may be

    @property
    def error(self) -> u.Number:
        """Standard errors of the parameters."""
        return np.sqrt(np.diagonal(self.covariance, axis1=-2, axis2=-1))


def _wind(account: Account, value: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Head and cross wind of each stretch by a wind from north and east."""
    north, east = value[..., 3:4], value[..., 4:5]
    return north * account.north + east * account.east, east * account.north - north * account.east


def _air(account: Account, value: np.ndarray, gust: np.ndarray) -> Pressure:
    """Air force over half the density and the drag area, mean over the way.

    Two speeds stand for all of a stretch: exact for what is quadratic in speed.
    """
    head, across = _wind(account, value)
    parts = [gusts.pressure(account.speed + way * account.speed_deviation + head, across, gust[..., None]) for way in (-1.0, 1.0)]
    return Pressure(*((one + other) / 2 for one, other in zip(*parts, strict=True)))


def pressure(account: Account, value: u.Number, gust_deviation: u.MetrePerSecond) -> u.Number:
    """Air speed along the way times that past the rider, mean over each stretch, with gusts, in m²/s²."""
    return _air(account, np.asarray(value, float), np.asarray(gust_deviation, float)).mean


def pushed(account: Account, value: u.Number) -> u.Newton:
    """Mean force that drives along each stretch: legs through the gear and motor, less what is stored in speed and height."""
    part = [np.asarray(value, float)[..., place, None] for place in range(len(PARAMETERS))]
    efficiency, zero, scale, electrical = part[2], part[5], part[6], part[7]
    legs = efficiency * (account.drive_work - zero * account.drive_turn) + (account.hold_work - zero * account.hold_turn) / efficiency
    return ((1 - scale) * legs + account.motor_work - electrical * account.motor_slope - account.gain) / account.distance


def resisted(account: Account, machine: Machine, value: u.Number, gust_deviation: u.MetrePerSecond = 0.0) -> u.Newton:
    """Mean force that road and air take along each stretch, but for the slope."""
    value = np.asarray(value, float)
    air = _air(account, value, np.asarray(gust_deviation, float)).mean
    level = np.sqrt(np.maximum(1 - (account.rise / account.distance) ** 2, 0.0))
    pressed = machine.mass * GRAVITY * level
    bearings = machine.bearing_drag + machine.bearing_drag_per_speed * account.distance / account.duration
    return value[..., 0, None] * pressed + 0.5 * machine.air_density * value[..., 1, None] * air + bearings


def slopes(
    account: Account, machine: Machine, value: u.Number, gust_deviation: u.MetrePerSecond = 0.0, gust_force: u.Newton = 0.0
) -> u.Number:
    """By how much each parameter lowers the unexplained force of each stretch, parameters along the last axis.

    Legs and motor answer gusts too, and what a gust asked of them must not be
    taken for efficiency: so the slopes by efficiency and sensors use the
    measured work less what answered ``gust_force``.
    """
    value = np.asarray(value, float)
    gust = np.asarray(gust_deviation, float)
    efficiency, zero, scale = value[..., 2:3], value[..., 5:6], value[..., 6:7]
    air, by_head, by_cross, _ = _air(account, value, gust)
    dynamic = 0.5 * machine.air_density * value[..., 1:2]
    drive, hold = account.drive_work - zero * account.drive_turn, account.hold_work - zero * account.hold_turn
    driving = account.drive_turn / np.maximum(account.drive_turn + account.hold_turn, 1e-9)
    whole = driving * efficiency + (1 - driving) / efficiency + account.answer
    chance = account.distance * gust_force / whole  # work of the pedals
    drive, hold = drive - driving * chance, hold - (1 - driving) * chance
    level = np.sqrt(np.maximum(1 - (account.rise / account.distance) ** 2, 0.0))
    columns = (
        machine.mass * GRAVITY * level,
        0.5 * machine.air_density * air,
        -(1 - scale) * (drive - hold / efficiency**2) / account.distance,
        dynamic * (by_head * account.north - by_cross * account.east),
        dynamic * (by_head * account.east + by_cross * account.north),
        (1 - scale) * (efficiency * account.drive_turn + account.hold_turn / efficiency) / account.distance,
        (efficiency * drive + hold / efficiency) / account.distance,
        (account.motor_slope - account.answer * chance) / account.distance,
    )
    return np.stack(np.broadcast_arrays(*columns), axis=-1)


class Noise:
    """Covariance of the stretches' forces as a function of the noise numbers, at fixed parameters."""

    def __init__(self, account: Account, machine: Machine, value: np.ndarray, gust: np.ndarray) -> None:
        head, across = _wind(account, value)
        dynamic = 0.5 * machine.air_density * value[..., 1:2]
        mean, by_head, by_cross, _ = _air(account, value, gust)
        # a gust keeps its direction where the way turns
        north = dynamic * (by_head * account.north - by_cross * account.east)
        east = dynamic * (by_head * account.east + by_cross * account.north)
        self.felt = north[..., :, None] * north[..., None, :] + east[..., :, None] * east[..., None, :]
        # what is beyond the straight line in the gust's speed, such as its square, forgets twice as fast
        one = gusts.pressure(account.speed + head, across, gust[..., None])
        bent = one.square - one.mean**2 - gust[..., None] ** 2 * (one.by_along**2 + one.by_across**2)
        bend = dynamic * np.sqrt(np.maximum(bent, 0.0)) * np.sign(account.speed + head)
        self.bent, self.gust = bend[..., :, None] * bend[..., None, :], gust
        self.ends = end_noise(machine.mass, account.distance, account.shared, 1.0)
        self.drift = (machine.mass * GRAVITY / account.distance) ** 2 * account.duration
        self.slow = gust_likeness(account.start, account.duration, SLOW)
        self.account, self.count = account, account.distance.shape[-1]
        self.both = account.used[..., :, None] & account.used[..., None, :]

    def _likeness(self, time: np.ndarray) -> np.ndarray:
        return gust_likeness(self.account.start, self.account.duration, time)

    def gusts(self, noise: np.ndarray, way: float = 0.0) -> tuple[np.ndarray, np.ndarray]:
        """The gusts' share in the covariance: what is straight in their speed, and what is not; at a shifted time."""
        time, share = np.exp(noise[..., 1] + way * STEP), np.exp(noise[..., 0])[..., None, None]
        return share**2 * self.felt * self._likeness(time), (share / self.gust[..., None, None]) ** 4 * self.bent * self._likeness(time / 2)

    def gust_share(self, noise: np.ndarray) -> np.ndarray:
        """The gusts' share as a whole."""
        return self._padded(sum(self.gusts(noise)), 0)

    def _padded(self, matrix: np.ndarray, more: int = 3) -> np.ndarray:
        whole = np.zeros(self.both.shape[:-2] + (self.count + more, self.count + more))
        whole[..., : self.count, : self.count] = np.where(self.both, matrix, 0.0)
        return whole

    def __call__(self, noise: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """The covariance with its slopes by the noise numbers; three rows of known scatter 1 stand behind, for the sensors."""
        straight, bent = self.gusts(noise)
        by_time = (sum(self.gusts(noise, 1.0)) - sum(self.gusts(noise, -1.0))) / (2 * STEP)
        square = np.exp(2 * noise)
        ends = square[..., 2, None, None] * self.ends
        index, rest = np.arange(self.count), np.arange(self.count + 3)
        drift, sensors = np.zeros_like(straight), np.zeros_like(straight)
        drift[..., index, index] = square[..., 3, None] * self.drift
        sensors[..., index, index] = square[..., 4, None] / self.account.duration
        slow = square[..., 5, None, None] * self.slow
        whole = self._padded(straight + bent + ends + drift + sensors + slow)
        used = self.account.used
        whole[..., rest, rest] += np.concatenate([~used, np.ones(used.shape[:-1] + (3,), bool)], axis=-1)
        return whole, np.stack(
            [self._padded(part) for part in (2 * straight + 4 * bent, by_time, 2 * ends, 2 * drift, 2 * sensors, 2 * slow)]
        )


@formula(
    equation=(
        r"\hat\beta = (X^T\Sigma^{-1}X)^{-1}X^T\Sigma^{-1}z,\quad \Sigma = \Sigma(\hat\theta),\quad \hat\theta = \arg\max"
        r"\left[-\ln|\Sigma| - \ln|X^T\Sigma^{-1}X| - z^T P z - \sum_k \frac{(\theta_k - \mu_k)^2}{s_k^2}\right]"
    ),
    source="patterson_thompson_1971, kenward_roger_1997",
    valid="speed chosen without regard to gusts; one tyre pressure, one posture, one gear; gusts well below the air speed",
)
def fit(account: Account, machine: Machine, sensors: Sensors, begin: u.Number) -> RoadFit:
    """Rolling coefficient, drag area, drive efficiency and wind from the stretches of a ride, or of many rides at once.

    The balance of each stretch is straightened at the parameters found so far,
    and noise and parameters are found anew until both rest.

    Args:
        account: the stretches.
        machine: what is taken as known.
        sensors: what is known of the sensors beforehand.
        begin: parameters to begin with, in the order of ``PARAMETERS``.

    >>> speed, heading, rise = np.tile([3.0, 4.5, 6.0], 8), np.linspace(0, 7, 24), np.tile([0.0, 0.0, 3.0, 3.0], 6)
    >>> way, time, none, always = 30.0 * speed, np.full(24, 30.0), np.zeros(24), np.ones(24, bool)
    >>> along, across = speed + np.cos(heading), np.sin(heading)
    >>> air = 0.36 * along * np.hypot(along, across)
    >>> force = 90 * GRAVITY * (0.008 * np.sqrt(1 - (rise / way) ** 2) + rise / way) + air
    >>> directions, work = (np.cos(heading), np.sin(heading)), (force * way / 0.95, 2 * way)
    >>> stored = (rise, 90 * GRAVITY * rise)
    >>> ridden = Account(30.0 * np.arange(24), time, way, speed, none, *directions, *stored, *work, *[none] * 5, always, always)
    >>> at = fit(ridden, Machine(90.0, 1.2, 0.0, 0.0), Sensors(0.0, 1e-3, 1e-3, 1e-3), [0.007, 0.5, 0.97, 0, 0, 0, 0, 0])
    >>> at.value[:3].round(2).tolist()
    [0.01, 0.6, 0.95]
    """
    positive("duration", account.duration)
    positive("distance", account.distance)
    sets = account.distance.shape[:-1]
    at = np.array(np.broadcast_to(begin, sets + (len(PARAMETERS),)), float)
    noise = np.array(np.broadcast_to(KNOWN_NOISE, sets + (len(NOISE),)), float)
    moving = np.ones(sets, bool)
    for turn in range(MOST_TURNS):
        some, said = Account(*(part[moving] for part in account)), Sensors(*(np.broadcast_to(part, sets)[moving] for part in sensors))
        design, values, matrix = _straightened(some, machine, said, at[moving], noise[moving])
        fresh_noise = _restricted.search(design, values, matrix, noise[moving], KNOWN_NOISE, KNOWN_NOISE_DEVIATION, 1 if turn else 3)
        found = _restricted.parts(design, values, matrix(fresh_noise)[0])
        fresh = _bounded(found.value)
        error = np.sqrt(np.diagonal(found.covariance, axis1=-2, axis2=-1))
        still = np.any(np.abs(fresh - at[moving]) > LITTLE * error, axis=-1)
        at[moving], noise[moving] = fresh, fresh_noise
        moving[moving] = still
        if not np.any(moving):
            break
    gust = np.exp(noise[..., 0])
    design, values, matrix = _straightened(account, machine, sensors, at, noise)
    mixed = _restricted.finish(design, values, matrix, noise, KNOWN_NOISE_DEVIATION)
    value, whole = mixed.value, mixed.covariance
    # the mean drag of the gusts is known as well as their strength is
    moved = _by_gust(account, machine, at, gust)
    pull = np.swapaxes(design, -1, -2) @ mixed.inverse
    shift = (whole @ (pull[..., : moved.shape[-1]] @ moved[..., None]))[..., 0]
    whole = whole + mixed.noise_covariance[..., 0, 0, None, None] * shift[..., :, None] * shift[..., None, :]
    residual = pushed(account, value) - resisted(account, machine, value, gust)
    count = residual.shape[-1]
    return RoadFit(
        value,
        whole,
        mixed.freedom,
        noise,
        mixed.noise_covariance,
        np.where(account.used, residual, np.nan),
        np.where(account.used, mixed.by_others[..., :count], np.nan),
        ~moving & np.all(_bounded(value) == value, axis=-1),
    )


def expected_information(account: Account, machine: Machine, value: u.Number, noise: u.Number) -> u.Number:
    """Inverse of the covariance that stretches can be expected to give, before they are ridden."""
    value, gust = np.asarray(value, float), np.exp(noise[..., 0])
    count = account.distance.shape[-1]
    design = slopes(account, machine, value, gust)
    matrix = Noise(account, machine, value, gust)(noise)[0][..., :count, :count]
    return np.swapaxes(design, -1, -2) @ np.linalg.solve(matrix, design)


def _straightened(
    account: Account, machine: Machine, sensors: Sensors, at: np.ndarray, noise: np.ndarray
) -> tuple[np.ndarray, np.ndarray, Noise]:
    """Design, values and covariance at trial parameters; three rows say what is known of the sensors.

    Of what is left unexplained, the part that gusts did is what their share of
    the covariance makes expected.
    """
    gust, count = np.exp(noise[..., 0]), account.distance.shape[-1]
    left = np.where(account.used, pushed(account, at) - resisted(account, machine, at, gust), 0.0)
    covariance = Noise(account, machine, at, gust)
    matrix, gusts = covariance(noise)[0][..., :count, :count], covariance.gust_share(noise)
    force = (gusts @ np.linalg.solve(matrix, left[..., None]))[..., 0]
    design = np.where(account.used[..., None], slopes(account, machine, at, gust, force), 0.0)
    values = left + (design @ at[..., None])[..., 0]
    spread = (sensors.torque_zero_deviation, sensors.torque_scale_deviation, sensors.electrical_scale_deviation)
    known = np.zeros(at.shape[:-1] + (3, len(PARAMETERS)))
    for place, deviation in enumerate(spread):
        known[..., place, 5 + place] = 1 / np.asarray(deviation, float)
    said = np.zeros(at.shape[:-1] + (3,))
    said[..., 0] = np.divide(sensors.torque_zero, sensors.torque_zero_deviation)
    return np.concatenate([design, known], axis=-2), np.concatenate([values, said], axis=-1), covariance


def _bounded(value: np.ndarray) -> np.ndarray:
    """A trial within what a machine can be, so that the next one can be computed."""
    fresh = value.copy()
    fresh[..., :3] = np.clip(value[..., :3], LOWEST, HIGHEST)
    fresh[..., 3:5] = np.clip(value[..., 3:5], -STRONGEST_WIND, STRONGEST_WIND)
    return fresh


def _by_gust(account: Account, machine: Machine, value: np.ndarray, gust: np.ndarray) -> np.ndarray:
    """Change of each stretch's force by the logarithm of the gusts' deviation."""
    ends = [_air(account, value, gust * np.exp(way * GUST_STEP)).mean for way in (1, -1)]
    return np.where(account.used, 0.5 * machine.air_density * value[..., 1:2] * (ends[0] - ends[1]) / (2 * GUST_STEP), 0.0)
