"""What a ride log offers an energy balance: pedal and motor work, stored energy and way of each stretch, and the torque sensor's zero."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..formulas import pedalling, road, road_fit
from ..inputs import Build, Case
from ..inputs.ride_logs import RideLog, make_ride
from .drive import drive
from .split import assist_gain
from .stretches import Stretches, cut

STRETCH_TIME = 25.0  # s: about as long as gusts last
SHORTEST_TIME = 8.0  # s; what is left before a halt or at the end may be too short to say anything
SHORTEST_WAY = 15.0  # m
STRAIGHT = 0.94  # length of the mean direction of a stretch below which it turns too far to have one head wind
SMOOTHED = 2.0  # s on either side of an end over which the altitude is averaged
NEWTON_STEPS = 4
NEEDED = {
    "speed": "nothing can be balanced without it",
    "pedal_torque": "it says what the legs gave",
    "altitude": "a slope of 1 % asks about as much as all the rolling",
    "heading": "it tells head wind from tail wind",
}
BATTERY = dict.fromkeys(("battery_voltage", "battery_current"), "voltage and current say what the motor gave")
USED = (*NEEDED, *BATTERY, "crank_rate", "motor_torque", "winding_temperature")


@dataclass(frozen=True)
class RideAccount:
    """The stretches that a fit uses, what they hold, and what was left out."""

    stretches: Stretches
    account: road_fit.Account
    torque_zero: float  # reading while standing, nan where the log holds no stand
    torque_zero_deviation: float
    beside_halt: int  # stretches left out because they begin or end at a halt
    too_short: int
    turning: int  # left out because the way turns too far
    unknown: int  # left out because a value is missing


def motor_torque(build: Build, case: Case, log: RideLog) -> tuple[np.ndarray, np.ndarray]:
    """Mean motor torque of each row at the wheel, before iron drag, by the motor's model; and its change per relative change of power.

    Out of the measured battery power goes the standby power, and what copper and
    bridge turn to heat.  The part that follows the pedals pulses with them and
    costs more copper than a steady torque, and makes the mean of the power less
    than the product of the logged means.
    """
    rotation = log["speed"] / build.wheel.radius
    warm = log.get("winding_temperature")
    state = drive(build, case.state_of_charge, case.air_temperature if warm is None else warm)
    gear, resisting = build.gears.named(), log["pedal_torque"] < 0
    gain = np.where(resisting, assist_gain(build, gear, True), assist_gain(build, gear))
    pulsing = np.abs(gain * log["pedal_torque"]) * np.sqrt(pedalling.shape_mean_square(build.rider.torque_floor) - 1)
    voltage, current = log["battery_voltage"], log["battery_current"]
    power = voltage * current - state.pack_resistance * (pulsing * rotation / voltage) ** 2
    turning = np.maximum(rotation, 0.1)
    torque, rate = np.zeros_like(rotation), turning
    for _ in range(NEWTON_STEPS):
        parts = []
        for way in (-1.0, 1.0):  # two torques with the mean and the mean square of the turn
            one = torque + way * pulsing
            at = state.point(one, turning)
            loss = at.copper_loss + at.bridge_loss
            parts.append((loss, 2 * loss / np.where(np.abs(one) > 0.1, one, np.inf)))
        loss, slope = ((one + other) / 2 for one, other in zip(*parts, strict=True))
        rate = np.maximum(turning + slope, 0.5 * turning)
        torque = torque + (power - state.standby_power - loss - torque * turning) / rate
    return torque, power / rate


def account_of(build: Build, case: Case, log: RideLog, time: float = STRETCH_TIME, beside_halts: bool = False) -> RideAccount:
    """The stretches of a log with what an energy balance needs of each.

    Stretches beside a halt are left out unless ``beside_halts`` is true: there
    the rider brakes, pushes off and mounts, which no sensor sees.
    """
    log = _known(log)
    needed = NEEDED if build.motor is None or "motor_torque" in log else NEEDED | BATTERY
    missing = [name for name in needed if name not in log]
    if missing:
        held = f"; it holds {', '.join(log.values)}"
        raise ValueError(f"log {log.name!r} has no {' and no '.join(missing)}, which the fit needs: {needed[missing[0]]}{held}")
    log, doubtful = _filled(log)
    every = cut(log, time)
    integral = _integrals(log)
    zero, zero_deviation = _zero(log, every)
    beside = _beside_halts(every)
    short = (every.duration < SHORTEST_TIME) | (every.distance < SHORTEST_WAY)
    usable = ~every.standing & ~short & (beside_halts | ~beside)
    with np.errstate(invalid="ignore", divide="ignore"):
        kept = usable & (np.hypot(every.way_north, every.way_east) >= STRAIGHT * np.abs(every.distance))
    found = _whole(build, case, log, every.pick(kept), integral)
    known = integral(doubtful, every.pick(kept)) == 0
    chosen = np.flatnonzero(kept)[known]
    picked = every.pick(chosen)
    follows = np.zeros(len(chosen), bool)
    follows[:-1] = (np.diff(chosen) == 1) & (np.abs(picked.start[1:] - picked.start[:-1] - picked.duration[:-1]) < 1e-6)
    account = road_fit.Account(**{name: value[known] for name, value in found.items()}, shared=follows, used=np.ones(len(chosen), bool))
    left_out = ~every.standing & ~short & ~beside_halts & beside
    return RideAccount(
        picked,
        account,
        zero,
        zero_deviation,
        int(np.sum(left_out)),
        int(np.sum(~every.standing & short)),
        int(np.sum(usable & ~kept)),
        int(np.sum(~known)),
    )


def _known(log: RideLog) -> RideLog:
    """The log with a battery of no voltage as unknown, and without columns that hold not one value."""
    values = dict(log.values)
    if "battery_voltage" in values:
        values["battery_voltage"] = np.where(log["battery_voltage"] > 0, log["battery_voltage"], np.nan)
    values = {name: column for name, column in values.items() if not np.isnan(column).all()}
    return make_ride(log.name, log.source, values, log.piece, log.notes)


def _filled(log: RideLog) -> tuple[RideLog, np.ndarray]:
    """The log with straight lines where a value is unknown, and 1 for such rows: no stretch with one of them is used."""
    values, doubtful = dict(log.values), np.zeros(len(log["time"]))
    for name in USED:
        unknown = np.isnan(log[name]) if name in log else np.zeros(1, bool)
        if unknown.any():
            rows = np.arange(len(unknown))
            values[name] = np.interp(rows, rows[~unknown], np.asarray(log[name])[~unknown])
            doubtful = np.maximum(doubtful, unknown)
    return (make_ride(log.name, log.source, values, log.piece, log.notes), doubtful) if doubtful.any() else (log, doubtful)


def _beside_halts(every: Stretches) -> np.ndarray:
    """Which stretches begin or end at a halt, or where the log breaks off."""
    still = every.standing
    ahead = np.concatenate([still[1:], [True]]) | np.concatenate([np.diff(every.piece) != 0, [True]])
    behind = np.concatenate([[True], still[:-1]]) | np.concatenate([[True], np.diff(every.piece) != 0])
    return ~still & (ahead | behind)


def _integrals(log: RideLog):
    """A function that gives the integral of a row's quantity over time from the first row of each stretch to its last."""
    clock = log["time"]

    def integral(values: np.ndarray, stretches: Stretches) -> np.ndarray:
        summed = np.concatenate([[0.0], np.cumsum(0.5 * (values[1:] + values[:-1]) * np.diff(clock))])
        begin = np.searchsorted(clock, stretches.start - 1e-9)
        return summed[begin + stretches.rows - 1] - summed[begin]

    return integral


def _zero(log: RideLog, every: Stretches) -> tuple[float, float]:
    """Mean reading of the torque sensor while standing, with its standard error."""
    clock, torque = log["time"], log["pedal_torque"]
    still = np.zeros(len(clock), bool)
    for begin, end in zip(every.start[every.standing], (every.start + every.duration)[every.standing], strict=True):
        still |= (clock > begin + 2.0) & (clock < end - 2.0)  # the rider has got off, and is not yet back on
    seen = torque[still & np.isfinite(torque)]
    if len(seen) < 5:
        return np.nan, np.nan
    return float(np.mean(seen)), float(np.std(seen, ddof=1) / np.sqrt(len(seen)))


def _smooth_altitude(log: RideLog, moments: np.ndarray, piece: np.ndarray) -> np.ndarray:
    """Altitude at moments as its mean over a short time around them, within the piece."""
    clock, altitude = log["time"], log["altitude"]
    summed = np.concatenate([[0.0], np.cumsum(0.5 * (altitude[1:] + altitude[:-1]) * np.diff(clock))])
    first = clock[np.searchsorted(log.piece, piece, side="left")]
    last = clock[np.searchsorted(log.piece, piece, side="right") - 1]
    half = np.maximum(np.minimum(SMOOTHED, np.minimum(moments - first, last - moments)), 0.0)
    mean = np.interp(moments + half, clock, summed) - np.interp(moments - half, clock, summed)
    return np.where(half > 0.1, mean / np.where(half > 0.1, 2 * half, 1.0), np.interp(moments, clock, altitude))


def _whole(build: Build, case: Case, log: RideLog, picked: Stretches, integral) -> dict[str, np.ndarray]:
    """What the energy balance needs of each stretch, by field of the account."""
    speed, torque = log["speed"], log["pedal_torque"]
    rotation = speed / build.wheel.radius
    turn = log["crank_rate"] if "crank_rate" in log else rotation / build.gears.named().ratio
    driving = torque >= 0
    end = picked.start + picked.duration
    rise = _smooth_altitude(log, end, picked.piece) - _smooth_altitude(log, picked.start, picked.piece)
    kinetic = [
        road.kinetic_energy(build.total_mass, pace, build.wheel_inertia, build.wheel.radius)
        for pace in (picked.start_speed, picked.end_speed)
    ]
    motor, motor_slope = np.zeros(len(picked)), np.zeros(len(picked))
    if build.motor is not None:
        drag = drive(build, case.state_of_charge).drag(rotation)
        given, change = (log["motor_torque"],) * 2 if "motor_torque" in log else motor_torque(build, case, log)
        motor, motor_slope = integral((given - drag) * rotation, picked), integral(change * rotation, picked)
    gear, turns = build.gears.named(), [integral(np.where(way, turn, 0.0), picked) for way in (driving, ~driving)]
    driven = turns[0] / np.maximum(turns[0] + turns[1], 1e-9)
    mean = picked.speed_squared / picked.distance
    return {
        "start": picked.start,
        "duration": picked.duration,
        "distance": picked.distance,
        "speed": mean,
        "speed_deviation": np.sqrt(np.maximum(picked.speed_cubed / picked.distance - mean**2, 0.0)),
        "north": picked.way_north / picked.distance,
        "east": picked.way_east / picked.distance,
        "rise": rise,
        "gain": kinetic[1] - kinetic[0] + build.total_mass * road.GRAVITY * rise,
        "drive_work": integral(np.where(driving, torque * turn, 0.0), picked),
        "drive_turn": turns[0],
        "hold_work": integral(np.where(driving, 0.0, torque * turn), picked),
        "hold_turn": turns[1],
        "motor_work": motor,
        "motor_slope": motor_slope,
        "answer": gear.ratio * (driven * assist_gain(build, gear) + (1 - driven) * assist_gain(build, gear, True)),
    }


def stacked(accounts: list[road_fit.Account]) -> road_fit.Account:
    """Accounts of many rides side by side; what is shorter than the longest is filled up and marked as not used."""
    longest = max(len(one.distance) for one in accounts)

    def filled(name: str) -> np.ndarray:
        rows = []
        for one in accounts:
            values = getattr(one, name)
            rest = longest - len(values)
            fill = np.zeros(rest, values.dtype)
            if name in ("duration", "distance", "speed"):
                fill = fill + 1
            if name == "start":
                fill = values[-1] + one.duration[-1] + 1.0 + 2.0 * np.arange(rest)
            rows.append(np.concatenate([values, fill]))
        return np.stack(rows)

    return road_fit.Account(*(filled(name) for name in road_fit.Account._fields))
