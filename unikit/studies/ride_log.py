"""What a ride log says of rolling, drag, drive efficiency and wind, how sure that is, and a build with it.

The drive efficiency is that of the engaged gear: the share of the pedals' work
that reaches the wheel while they drive, and the other way round while they hold
back.  The motor's share comes from its model, as the bench made it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from .. import units as u
from ..formulas import fitting, road_fit
from ..formulas.checks import positive
from ..inputs import Build, Case, Spread
from ..inputs import replace as replaced
from ..inputs.fields import specs
from ..inputs.ride_logs import RideLog
from ..inputs.spreads import write_spread
from .results import Result, show, shown
from .ride_balance import STRETCH_TIME, RideAccount, account_of

LIKE = 0.9  # correlation above which two parameters are named as hard to tell apart
FAR = 3.5  # robust standard deviations beyond which a stretch is shown as an outlier: Iglewicz and Hoaglin's bound
TORQUE_SCALE, ELECTRICAL_SCALE = 0.005, 0.005  # standard deviations that are assumed where nothing better is known
UNSEEN_ZERO = 0.5  # N m: the same for the torque sensor's zero, where the log holds no stand
WORDS = ("rolling coefficient", "drag area", "drive efficiency", "wind from north", "wind from east")
ADVICE = {
    frozenset((0, 1)): "add steady stretches much faster and much slower",
    frozenset((0, 2)): "add steady stretches at another speed, and a longer climb",
    frozenset((1, 2)): "add a climb at walking pace, where the air does not count",
    frozenset((3, 4)): "ride out and back in another direction too",
}
FORE_AND_BACK = "ride the same road out and back"
LEAST_STRETCHES = 12
OTHER_GEAR = 0.02  # by which crank and wheel may turn otherwise than the engaged gear says


@dataclass(frozen=True)
class RideFit(Result):
    """The parameters with 95 % intervals, and for each stretch what was measured and what they predict."""

    log: str = shown("log")
    stretches: int = shown("stretches", "", 0)
    rolling_coefficient: u.Ratio = shown("rolling coefficient", "", 5)
    rolling_coefficient_low: u.Ratio = shown("rolling coefficient, low end", "", 5)
    rolling_coefficient_high: u.Ratio = shown("rolling coefficient, high end", "", 5)
    drag_area: u.SquareMetre = shown("drag area", "m^2", 3)
    drag_area_low: u.SquareMetre = shown("drag area, low end", "m^2", 3)
    drag_area_high: u.SquareMetre = shown("drag area, high end", "m^2", 3)
    drive_efficiency: u.Ratio = shown("drive efficiency", "%", 1)
    drive_efficiency_low: u.Ratio = shown("drive efficiency, low end", "%", 1)
    drive_efficiency_high: u.Ratio = shown("drive efficiency, high end", "%", 1)
    wind_from_north: u.MetrePerSecond = shown("wind from north", "m/s", 2)
    wind_from_north_low: u.MetrePerSecond = shown("wind from north, low end", "m/s", 2)
    wind_from_north_high: u.MetrePerSecond = shown("wind from north, high end", "m/s", 2)
    wind_from_east: u.MetrePerSecond = shown("wind from east", "m/s", 2)
    wind_from_east_low: u.MetrePerSecond = shown("wind from east, low end", "m/s", 2)
    wind_from_east_high: u.MetrePerSecond = shown("wind from east, high end", "m/s", 2)
    gust_deviation: u.MetrePerSecond = shown("gusts, standard deviation", "m/s", 2)
    gust_time: u.Second = shown("time that gusts last", "s", 0)
    scatter: u.Newton = shown("usual deviation of a stretch", "N", 2)
    outliers: int = shown("stretches that stand out", "", 0)
    start: u.Second = shown("start", "s", 0)
    speed: u.MetrePerSecond = shown("speed", "km/h", 1)
    head_wind: u.MetrePerSecond = shown("head wind", "m/s", 2)
    pressure: u.Number = shown("air speed squared in m²/s², mean with gusts", "", 1)
    measured: u.Newton = shown("measured force for road and air", "N", 2)
    predicted: u.Newton = shown("predicted", "N", 2)
    standing_out: u.Number = shown("robust standard deviations from what all others make expected", "", 1)
    far: np.ndarray = shown("stands out")
    number: np.ndarray = shown("number of the stretch", "", 0)
    notes: tuple[str, ...] = ()
    fit: road_fit.RoadFit | None = field(default=None, repr=False)
    machine: road_fit.Machine | None = field(default=None, repr=False)
    sensors: road_fit.Sensors | None = field(default=None, repr=False)
    account: RideAccount | None = field(default=None, repr=False)

    @property
    def correlation(self) -> np.ndarray:
        """Correlations of the five parameters."""
        return fitting.correlation(self.fit.covariance[:5, :5])

    @property
    def alike(self) -> list[str]:
        """Pairs of parameters that this log can hardly tell apart, and what would help."""
        found = []
        for one in range(5):
            for other in range(one + 1, 5):
                share = self.correlation[one, other]
                if abs(share) > LIKE:
                    advice = ADVICE.get(frozenset((one, other)), FORE_AND_BACK)
                    found.append(f"{WORDS[one]} and {WORDS[other]} cannot be told apart in this log ({share:+.2f}): {advice}")
        return found

    def interval(self, name: str) -> tuple[float, float, float]:
        """A parameter with both ends of its 95 % interval."""
        return tuple(getattr(self, name + end) for end in ("", "_low", "_high"))

    def rows(self) -> list[str]:
        """One line for each parameter, with the labels and units of the table."""
        units_of = {name: (meta["unit"], meta["digits"]) for name, meta, _ in self._columns()}
        lines = []
        for name, word in zip(road_fit.FITTED, WORDS, strict=True):
            unit, digits = units_of[name]
            scale = 100.0 if unit == "%" else 1.0
            value, low, high = (scale * part for part in self.interval(name))
            lines.append(f"{word}: {show(value, unit, digits)}, 95 % {low:.{digits}f} to {high:.{digits}f}")
        return lines


@dataclass(frozen=True)
class Believed(Result):
    """What a log says against the numbers of the build file, in still air and with nothing fitted."""

    log: str = shown("log")
    stretches: int = shown("stretches", "", 0)
    mean_excess: u.Newton = shown("force beyond the build's, mean", "N", 2)
    believed_rolling: u.Ratio = shown("rolling coefficient of the build", "", 5)
    believed_area: u.SquareMetre = shown("drag area of the build", "m^2", 3)
    believed_efficiency: u.Ratio = shown("drive efficiency of the build", "%", 1)
    speed: u.MetrePerSecond = shown("speed", "km/h", 1)
    pressure: u.Number = shown("air speed squared in m²/s², in still air", "", 1)
    measured: u.Newton = shown("measured force for road and air", "N", 2)
    predicted: u.Newton = shown("predicted by the build", "N", 2)


def believed(build: Build, case: Case, log: RideLog) -> Believed:
    """The stretches of a log beside what the build makes expected, before anything is fitted."""
    account = account_of(build, case, log).account
    machine, value = machine_of(build, case), begin_of(build)
    measured, predicted = road_fit.pushed(account, value), road_fit.resisted(account, machine, value)
    return Believed(
        log=log.name,
        stretches=len(measured),
        mean_excess=float(np.mean(measured - predicted)),
        speed=account.distance / account.duration,
        pressure=road_fit.pressure(account, value, 0.0),
        measured=measured,
        predicted=predicted,
        believed_rolling=float(value[0]),
        believed_area=float(value[1]),
        believed_efficiency=float(value[2]),
    )


def study(
    build: Build,
    case: Case,
    log: RideLog,
    leave_out: int | Sequence[int] = (),
    time: u.Second = STRETCH_TIME,
    beside_halts: bool = False,
    torque_scale: u.Ratio | None = None,
    electrical_scale: u.Ratio = ELECTRICAL_SCALE,
) -> RideFit:
    """Fit the parameters of a log.

    Args:
        build: what was ridden, as far as it is known; mass, wheel, motor and bearings are taken from it.
        case: air temperature and height above the sea at the time of the ride, for the air's density.
        log: the ride.
        leave_out: numbers of stretches that are left out because you know what happened there.
        time: length of the stretches.
        beside_halts: whether stretches that begin or end at a halt count too.
        torque_scale: standard deviation of the torque sensor's scale; that of the build's measured sensor if left out, else 0.5 %.
        electrical_scale: standard deviation of the scale of battery power.

    Raises ValueError for a log without what the fit needs.
    """
    if torque_scale is not None:
        positive("torque_scale", torque_scale)
    positive("electrical_scale", electrical_scale)
    every = account_of(build, case, log, time, beside_halts)
    kept = np.ones(len(every.account.start), bool)
    for place in np.ravel(leave_out).tolist():
        if place not in range(len(kept)):
            raise ValueError(f"leave_out names stretch {place}, and log {log.name!r} has stretches 0 to {len(kept) - 1}")
        kept[int(place)] = False
    if kept.sum() < LEAST_STRETCHES:
        raise ValueError(
            f"log {log.name!r} has {int(kept.sum())} stretches that can be used, and a fit of five numbers needs {LEAST_STRETCHES}"
        )
    account = _without(every.account, kept)
    machine = machine_of(build, case)
    sensors, said = _sensors(build, every, torque_scale, electrical_scale)
    fit = road_fit.fit(account, machine, sensors, begin_of(build))
    said += _doubtful(build, account, fit)
    return _result(log, every, account, kept, machine, sensors, fit, said)


def machine_of(build: Build, case: Case) -> road_fit.Machine:
    """What the fit takes as known of a build, in the air of a case."""
    return road_fit.Machine(build.total_mass, case.air_density, build.wheel.bearing_drag, build.wheel.bearing_drag_per_speed)


def begin_of(build: Build) -> np.ndarray:
    """Parameters to begin with: what the build says, no wind, sensors without errors."""
    begin = np.zeros(len(road_fit.PARAMETERS))
    begin[:3] = build.wheel.rolling_coefficient, build.rider.drag_area, build.gears.named().efficiency
    return begin


def _without(account: road_fit.Account, kept: np.ndarray) -> road_fit.Account:
    """Some stretches less; neighbours of what is left out share no end any more."""
    chosen = np.flatnonzero(kept)
    shared = account.shared & np.append(kept[1:], False)
    return road_fit.Account(*(part[chosen] for part in account._replace(shared=shared)))


def _sensors(build: Build, every: RideAccount, torque_scale: float | None, electrical_scale: float) -> tuple[road_fit.Sensors, list[str]]:
    said = []
    if torque_scale is None:
        spread = build.spreads.get("sensor.chain.rated_output")
        torque_scale = TORQUE_SCALE if spread is None else (spread.quantile(0.975) - spread.quantile(0.025)) / 3.92 / abs(spread.nominal)
        if spread is None:
            said.append(
                f"scale of the torque sensor assumed good to {100 * TORQUE_SCALE:g} % (standard deviation): weights on the crank tell it"
            )
    zero, deviation = every.torque_zero, max(every.torque_zero_deviation, 1e-3)
    if np.isnan(zero):
        zero, deviation = 0.0, UNSEEN_ZERO
        said.append(f"no stand in the log: the torque sensor's zero is known to {UNSEEN_ZERO:g} N·m only; get off for half a minute")
    return road_fit.Sensors(zero, deviation, float(torque_scale), electrical_scale), said


def _allowed(build: Build, fit: road_fit.RoadFit) -> list[str]:
    """Which of the three numbers of the build came out as no build has them, in words."""
    said = []
    for place, (record, name) in enumerate(_records(build)):
        spec, value = specs(type(record))[name], float(fit.value[place])
        if not spec.low <= value <= spec.high:
            said.append(f"{WORDS[place]} comes out as {value:.4g}, and a build allows {spec.low:g} to {spec.high:g}")
    return said


def _records(build: Build) -> tuple[tuple[object, str], ...]:
    """Where a build holds what is fitted."""
    return (build.wheel, "rolling_coefficient"), (build.rider, "drag_area"), (build.gears.named(), "efficiency")


def _doubtful(build: Build, account: road_fit.Account, fit: road_fit.RoadFit) -> list[str]:
    """What speaks against the build's being the one that was ridden, or against the log's columns."""
    strange = "; ".join(_allowed(build, fit))
    said = [f"{strange}: check sign and unit of each column, and mass, motor and gear of the build"] if strange else []
    gear = build.gears.named()
    wheel = float(np.sum(account.distance)) / build.wheel.radius
    turns = float(np.sum(account.drive_turn + account.hold_turn))
    if abs(turns * gear.ratio / wheel - 1) > OTHER_GEAR:
        said.append(
            f"the wheel turns {wheel / turns:.3g} times while the crank turns once, and gear {gear.name!r} has {gear.ratio:.3g}: "
            "another gear was engaged, or the wheel has another radius"
        )
    return said


def _result(log, every, account, kept, machine, sensors, fit, said) -> RideFit:
    ends = fitting.confidence_interval(fit.value[:5], fit.error[:5], 0.95, fit.freedom[:5])
    values = {}
    for place, name in enumerate(road_fit.FITTED):
        values |= {name: float(fit.value[place]), f"{name}_low": float(ends.low[place]), f"{name}_high": float(ends.high[place])}
    gust = float(np.exp(fit.noise[0]))
    middle = np.median(fit.by_others)
    robust = 1.4826 * np.median(np.abs(fit.by_others - middle))
    standing_out = (fit.by_others - middle) / max(robust, 1e-9)
    far = np.abs(standing_out) > FAR
    head = fit.value[3] * account.north + fit.value[4] * account.east
    if not bool(fit.settled):
        said.append("the search has not come to rest: take the intervals as rough")
    for what, count in (
        ("lie beside a halt, where brake and push-off are not measured", every.beside_halt),
        ("are too short", every.too_short),
        ("turn too far to have one head wind", every.turning),
        ("hold unknown values", every.unknown),
        ("were named to be left out", int(np.sum(~kept))),
    ):
        if count:
            said.append(f"{count} of the stretches left out, which {what}")
    return RideFit(
        log=log.name,
        stretches=int(kept.sum()),
        **values,
        gust_deviation=gust,
        gust_time=float(np.exp(fit.noise[1])),
        scatter=float(np.std(fit.residual)),
        outliers=int(far.sum()),
        start=account.start,
        speed=account.distance / account.duration,
        head_wind=head,
        pressure=road_fit.pressure(account, fit.value, gust),
        measured=road_fit.pushed(account, fit.value),
        predicted=road_fit.resisted(account, machine, fit.value, gust),
        standing_out=standing_out,
        far=far,
        number=np.flatnonzero(kept),
        notes=tuple(said),
        fit=fit,
        machine=machine,
        sensors=sensors,
        account=every,
    )


def line_of(found: RideFit, pressure: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Fitted force of road and air over the air speed squared, and the half width of its 95 % band."""
    mass = found.machine.mass * road_fit.GRAVITY
    bearings = found.machine.bearing_drag + found.machine.bearing_drag_per_speed * float(np.mean(found.speed))
    row = np.stack([np.full_like(pressure, mass), 0.5 * found.machine.air_density * pressure], axis=-1)
    error = np.sqrt(np.einsum("ip,pq,iq->i", row, found.fit.covariance[:2, :2], row))
    ends = fitting.confidence_interval(0.0, error, 0.95, float(np.min(found.fit.freedom[:2])))
    return row @ found.fit.value[:2] + bearings, ends.high


def ellipse(found: RideFit, one: int, other: int, count: int = 73) -> np.ndarray:
    """Outline that holds two parameters together in 95 of 100 rides, by Hotelling's ellipse; columns are the parameters."""
    from scipy.special import fdtri

    freedom = max(float(min(found.fit.freedom[one], found.fit.freedom[other])), 2.0)
    radius = np.sqrt(2 * fdtri(2, freedom, 0.95))
    angle = np.linspace(0, 2 * np.pi, count)
    lower = np.linalg.cholesky(found.fit.covariance[np.ix_((one, other), (one, other))])
    return found.fit.value[[one, other]] + radius * np.stack([np.cos(angle), np.sin(angle)], axis=-1) @ lower.T


def corrected(build: Build, found: RideFit, record: str = "") -> Build:
    """The build with what the ride said, each number with its standard error as a spread, and where it is from.

    ``record`` says which file it was and when it was ridden, as the source shall tell.
    Raises ValueError where a number came out as no build can have it.
    """
    if strange := _allowed(build, found.fit):
        raise ValueError(f"log {found.log!r}: {'; '.join(strange)}")
    tables = ("wheel", "rider", f"gears.gear.{build.gears.engaged}")
    source = (
        f"ride log {record or repr(found.log)}, {found.stretches} stretches of one ride: "
        "value and standard error by unikit.studies.ride_log; one day, one tyre pressure, one posture; not checked on another ride"
    )
    changes: dict[str, object] = {}
    for place, (table, (record, name)) in enumerate(zip(tables, _records(build), strict=True)):
        spread = Spread("normal", (float(found.fit.value[place]), float(found.fit.error[place])))
        spec = specs(type(record))[name]
        changes[f"{table}.{name}"] = write_spread(spread, spec.kind, spec.unit)
        before = record.source
        changes[f"{table}.source"] = f"{name.replace('_', ' ')}: {source}" + (f". All else: {before}" if before else "")
    return replaced(build, changes)


@dataclass(frozen=True)
class NextRide(Result):
    """What each further ride would leave of the standard errors there are."""

    what: np.ndarray = shown("further ride")
    rolling_coefficient: u.Ratio = shown("rolling coefficient: error left", "%", 0)
    drag_area: u.Ratio = shown("drag area: error left", "%", 0)
    drive_efficiency: u.Ratio = shown("drive efficiency: error left", "%", 0)


def next_rides(found: RideFit, stretches: int = 24) -> NextRide:
    """By how much further stretches would narrow the intervals, expected before they are ridden, on a day with a wind of its own."""
    fast, slow = float(np.max(found.speed)) + 1.0, max(0.8 * float(np.min(found.speed)), 1.8)
    usual = float(np.median(found.speed))
    plans = {
        f"{stretches} steady stretches out and back at {3.6 * fast:.0f} km/h": (fast, 0.0),
        f"{stretches} steady stretches out and back at {3.6 * usual:.0f} km/h": (usual, 0.0),
        f"{stretches} steady stretches out and back at {3.6 * slow:.0f} km/h": (slow, 0.0),
        f"{stretches} stretches, half of them up and down a hill of 6 %, half on the level": (usual, 0.06),
    }
    whole = np.linalg.inv(found.fit.covariance)
    left = []
    for speed, slope in plans.values():
        told = whole + _information(found, _planned(found, speed, slope, stretches))
        left.append(np.sqrt(np.diagonal(np.linalg.inv(told))[:3]) / found.fit.error[:3])
    better = np.array(whole)
    better[6, 6] += 3 / found.sensors.torque_scale_deviation**2
    left.append(np.sqrt(np.diagonal(np.linalg.inv(better))[:3]) / found.fit.error[:3])
    columns = dict(zip(road_fit.FITTED[:3], np.array(left).T, strict=True))
    return NextRide(what=np.array([*plans, "no ride, but the torque sensor's scale known twice as well"]), **columns)


def _planned(found: RideFit, speed: float, slope: float, count: int) -> road_fit.Account:
    """Steady stretches out and back that are not ridden yet, with the work that the fit makes expected."""
    duration = np.full(count, 30.0)
    way = np.where(np.arange(count) < count / 2, 1.0, -1.0)
    nothing, distance = np.zeros(count), speed * duration
    hill = np.where(np.arange(count) % (count // 2) < count // 4, slope, 0.0)
    rise = way * hill * distance / np.sqrt(1 + hill**2)
    gain = found.machine.mass * road_fit.GRAVITY * rise
    turn_per_way = float(
        np.sum(found.account.account.drive_turn + found.account.account.hold_turn) / np.sum(found.account.account.distance)
    )
    answer = np.full(count, float(np.median(found.account.account.answer)))
    made = road_fit.Account(
        start=np.cumsum(duration) - duration + 60.0 * (way < 0),
        duration=duration,
        distance=distance,
        speed=np.full(count, speed),
        speed_deviation=nothing,
        north=0.8 * way,
        east=0.6 * way,
        rise=rise,
        gain=gain,
        drive_work=nothing,
        drive_turn=nothing,
        hold_work=nothing,
        hold_turn=nothing,
        motor_work=nothing,
        motor_slope=nothing,
        answer=answer,
        shared=np.append(way[1:] == way[:-1], False),
        used=np.ones(count, bool),
    )
    needed = road_fit.resisted(made, found.machine, found.fit.value, found.gust_deviation) * distance + gain
    efficiency = found.fit.value[2]
    work = needed / (np.where(needed >= 0, efficiency, 1 / efficiency) + answer)
    turn = turn_per_way * distance
    return made._replace(
        drive_work=np.maximum(work, 0.0),
        hold_work=np.minimum(work, 0.0),
        drive_turn=np.where(work >= 0, turn, 0.0),
        hold_turn=np.where(work >= 0, 0.0, turn),
        motor_work=answer * work,
        motor_slope=answer * work,
    )


def _information(found: RideFit, account: road_fit.Account) -> np.ndarray:
    """What stretches of another day add to the inverse of the covariance: its wind is one to be found as well."""
    told = road_fit.expected_information(account, found.machine, found.fit.value, found.fit.noise)
    wind, rest = [3, 4], [0, 1, 2, 5, 6, 7]
    # a wind that one road cannot tell across its own direction is left to what winds usually are
    inner = told[np.ix_(wind, wind)] + np.eye(2) / 9.0
    added = np.zeros_like(told)
    added[np.ix_(rest, rest)] = told[np.ix_(rest, rest)] - told[np.ix_(rest, wind)] @ np.linalg.solve(inner, told[np.ix_(wind, rest)])
    return added
