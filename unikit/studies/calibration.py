"""A torque sensor from weights on a crank: gain, zero, hysteresis and drift with 95 % intervals, and what the weights cannot tell."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from .. import units as u
from ..formulas import calibration, fitting
from ..inputs import weights
from ..inputs.bench import Bench, Run
from . import weight_runs
from .results import Result, shown
from .weight_runs import BOW, SENSOR, SIDE, Equations

REFERENCE = 293.15  # K, at which offset and gain are stated
LEAST_SPAN = 5.0  # K between the coldest and the warmest series, below which drift does not count as told
# What a strain-gauge sensor without a calibration may be off by: a convention of this kit, of what the readings do not tell.
HYSTERESIS_DOUBT = 0.01
ZERO_DOUBT = 2e-3  # of full scale, per kelvin
GAIN_DOUBT = 1e-3  # per kelvin
FINE = 100.0  # what is known beforehand is known so well that slopes by differences of its own size would drown in rounding
TURNS = 3  # of fit and scatter: the third changes nothing that is shown
FAR = 4.0  # standard deviations from which on a reading is named
HEAVY = 3.0  # standard errors from which on a deviation from the straight line is named
UNLIKELY = 1e-3

WORDS = {
    "offset": "offset",
    "gain": "gain",
    "hysteresis": "hysteresis",
    "zero_drift": "drift of the zero",
    "gain_drift": "drift of the gain",
}


@dataclass(frozen=True, eq=False)
class Series:
    """One series of weights against the fitted line."""

    name: str
    side: str
    temperature: float  # mean, K
    torque: np.ndarray  # by the weights, positive forwards
    unloading: np.ndarray
    deviation: np.ndarray  # torque that the line makes of the output, less that of the weights
    expected: np.ndarray  # the same by the fitted loop
    half_band: np.ndarray  # of 95 % of the readings about it
    standardised: np.ndarray
    mass: np.ndarray


@dataclass(frozen=True, eq=False)
class Estimate:
    """The joint fit of one record, or of many alike (leading axes)."""

    equations: Equations
    fit: fitting.Fit
    fitted: tuple[Run, ...]
    told: tuple[str, ...]  # the sensor's parameters that the readings tell
    scatter: np.ndarray  # of the sensor itself, V
    scatter_low: np.ndarray
    scatter_high: np.ndarray
    probability: np.ndarray  # of so large a misfit without it
    freedom: int  # readings less what they alone must tell
    known: np.ndarray  # standard deviations known before the fit
    scale: np.ndarray  # of each parameter, for slopes by differences

    def interval(self, name: str) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """A parameter with both ends of its 95 % interval."""
        place = self.equations.place[name]
        value = self.fit.value[..., place]
        return value, *fitting.confidence_interval(value, self.fit.error[..., place], 0.95, self.freedom)

    def value(self, name: str) -> np.ndarray:
        """A parameter; what the readings do not tell stays near nothing."""
        return self.fit.value[..., self.equations.place[name]]

    def error_of(self, name: str) -> np.ndarray:
        """The standard error of a parameter."""
        return self.fit.error[..., self.equations.place[name]]

    def line(self) -> dict[str, np.ndarray]:
        """The arguments of the sensor's straight line."""
        return {name: self.value(name) for name in SENSOR if name != "hysteresis"} | {"reference_temperature": self.equations.reference}


def _start(equations: Equations, fitted: Sequence[Run], possible: Sequence[str]) -> np.ndarray:
    """The sensor's parameters by plain least squares, as if weights and thermometer had no errors."""
    sets = np.broadcast_shapes(*(run.values("hung_mass").shape[:-1] for run in fitted))
    designs, outputs = [], []
    for run in fitted:
        torque, seen = weight_runs.torque(run), weight_runs.volts(run)
        turn = weight_runs.turning(run)
        rise = run.values("sensor_temperature") - equations.reference
        rise = rise[..., None] if run["sensor_temperature"].constant else rise
        loop = np.where(weight_runs.unloading(run), 1.0, -1.0) * calibration.loop_half_width(torque, torque[..., turn, None], 1.0)
        columns = dict(zip(SENSOR, (np.ones_like(torque), torque, loop, rise, rise * torque), strict=True))
        designs.append(np.stack(np.broadcast_arrays(*(columns[name] for name in possible)), axis=-1))
        outputs.append(seen)
    found = fitting.line(
        *(
            np.concatenate([np.broadcast_to(one, (*sets, *one.shape[len(one.shape) - last :])) for one in parts], -last)
            for parts, last in ((designs, 2), (outputs, 1))
        )
    ).value
    start = np.zeros((*sets, len(equations.names)))
    for place, name in enumerate(possible):
        share = 1.0 if name in ("offset", "gain") else found[..., possible.index("gain")]
        start[..., equations.place[name]] = found[..., place] / share
    return start


def _span(runs: Sequence[Run]) -> tuple[float, float]:
    """The coldest and the warmest mean temperature of a series."""
    means = [float(np.mean(run.values("sensor_temperature"))) for run in runs]
    return min(means), max(means)


def _possible(runs: Sequence[Run]) -> tuple[str, ...]:
    """What the plan of the series lets be told at all."""
    low, high = _span(runs)
    loops = any(run.words["loading"] == weights.UP_AND_DOWN for run in runs)
    drift = high - low >= LEAST_SPAN
    return tuple(name for name in SENSOR if (drift or "drift" not in name) and (loops or name != "hysteresis"))


def _fitted(bench: Bench, leave_out: Sequence[str]) -> tuple[Run, ...]:
    """The series that are fitted."""
    bench.without(*leave_out)
    fitted = tuple(run for run in bench.of_kind(weights.KIND) if run.name not in leave_out)
    if not fitted:
        raise ValueError(f"bench record {bench.name!r} has no series of kind {weights.KIND!r} to fit")
    return fitted


def _doubts(full_scale: float) -> dict[str, float]:
    """Standard deviation that stands for what the readings do not tell."""
    return {"hysteresis": HYSTERESIS_DOUBT, "zero_drift": ZERO_DOUBT * full_scale, "gain_drift": GAIN_DOUBT}


def estimate(bench: Bench, leave_out: Sequence[str] = (), reference_temperature: u.Kelvin = REFERENCE) -> Estimate:
    """Fit the sensor to all series of a record but those left out.

    What the plan of the series cannot tell is held to nothing, with a doubt
    that widens the intervals of the rest.  The sensor's own scatter is found so
    that the readings are as far off as their number lets expect, less what each
    parameter takes of them: one that was known beforehand takes the share by
    which the readings narrow it.
    """
    fitted = _fitted(bench, leave_out)
    possible = _possible(fitted)
    equations = Equations(bench, reference_temperature, one_temperature="zero_drift" not in possible)
    full = equations.full_scale
    doubt = _doubts(full)
    known = equations.known.copy()
    for name, size in doubt.items():
        known[equations.place[name]] = np.inf if name in possible else size
    rows = sum(run.values("hung_mass").shape[-1] for run in fitted)
    alone = int(np.sum(~np.isfinite(known)))
    if rows <= alone:
        raise ValueError(f"bench record {bench.name!r} has {rows} readings for {alone} unknowns: hang more weights")
    start = _start(equations, fitted, possible)
    places = [equations.place[name] for name in ("offset", "gain")]
    gain = float(np.mean(np.abs(start[..., places[1]])))
    scale = np.where(np.isfinite(known), FINE * known, 1.0)
    scale[places] = gain * full, gain
    scale[[equations.place[name] for name in doubt]] = list(doubt.values())
    prior, spare = np.zeros(len(equations.names)), np.asarray(float(rows - alone))
    for _ in range(TURNS):  # the sensor's own scatter comes first, or the errors of weights and thermometer would be made to explain it
        scatter = fitting.extra_scatter(*_left(equations, fitted, start), spare)
        fit = fitting.adjustment([equations.scattering(run, scatter) for run in fitted], start, scale, prior, known)
        start, spare = fit.value, rows - np.sum(1 - (fit.error / known) ** 2, axis=-1)
    off, variance = _left(equations, fitted, fit.value)
    probability = fitting.misfit_probability(np.sum(off**2 / variance, axis=-1), spare)
    low, high = (fitting.extra_scatter(off, variance, _quantile(share, spare)) for share in (0.975, 0.025))
    return Estimate(equations, fit, fitted, possible, scatter, low, high, np.asarray(probability), rows - alone, known, scale)


def _quantile(share: float, freedom: np.ndarray) -> np.ndarray:
    """Quantile of chi-square."""
    from scipy.special import chdtri

    return np.asarray(chdtri(freedom, 1 - share))


def _left(equations: Equations, runs: Sequence[Run], parameters: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """What parameters leave in volts, over all readings, and the variance by the instruments alone."""
    parts = [fitting.scattered(equations.scattering(run, np.zeros(1)), parameters) for run in runs]
    return tuple(np.concatenate([one[place][..., 0] for one in parts], axis=-1) for place in (0, 1))


@dataclass(frozen=True)
class Calibration(Result):
    """The sensor of a record; low and high are ends of 95 % intervals, what the weights do not tell is left out."""

    record: str = shown("record")
    reference_temperature: u.Kelvin = shown("reference temperature", "degC", 0)
    series_count: u.Number = shown("series", "", 0)
    readings: u.Number = shown("readings", "", 0)
    full_scale: u.NewtonMetre = shown("greatest torque hung", "N*m", 1)
    gain: u.VoltPerNewtonMetre = shown("gain", "mV/(N*m)", 4)
    gain_low: u.VoltPerNewtonMetre = shown("gain, low end", "mV/(N*m)", 4)
    gain_high: u.VoltPerNewtonMetre = shown("gain, high end", "mV/(N*m)", 4)
    offset: u.Volt = shown("output without torque", "mV", 2)
    offset_low: u.Volt = shown("output without torque, low end", "mV", 2)
    offset_high: u.Volt = shown("output without torque, high end", "mV", 2)
    hysteresis: u.Ratio | None = shown("hysteresis, half width over greatest torque", "%", 3)
    hysteresis_low: u.Ratio | None = shown("hysteresis, low end", "%", 3)
    hysteresis_high: u.Ratio | None = shown("hysteresis, high end", "%", 3)
    zero_drift: u.NewtonMetrePerKelvin | None = shown("drift of the zero", "mN*m/K", 1)
    zero_drift_low: u.NewtonMetrePerKelvin | None = shown("drift of the zero, low end", "mN*m/K", 1)
    zero_drift_high: u.NewtonMetrePerKelvin | None = shown("drift of the zero, high end", "mN*m/K", 1)
    gain_drift: u.PerKelvin | None = shown("drift of the gain", "%/K", 4)
    gain_drift_low: u.PerKelvin | None = shown("drift of the gain, low end", "%/K", 4)
    gain_drift_high: u.PerKelvin | None = shown("drift of the gain, high end", "%/K", 4)
    repeatability: u.NewtonMetre = shown("scatter of the sensor itself, standard deviation", "N*m", 3)
    repeatability_low: u.NewtonMetre = shown("scatter of the sensor itself, low end", "N*m", 3)
    repeatability_high: u.NewtonMetre = shown("scatter of the sensor itself, high end", "N*m", 3)
    largest_deviation: u.Ratio = shown("largest deviation from the line, of full scale", "%", 2)
    bow: u.Ratio = shown("bow at half of full scale, of full scale", "%", 3)
    bow_error: u.Ratio = shown("bow, standard error", "%", 3)
    side_difference: u.Ratio | None = shown("gain backward over forward, less 1", "%", 2)
    side_difference_error: u.Ratio | None = shown("gain backward over forward, standard error", "%", 2)
    common_share: u.Ratio = shown("share of the gain's variance that all readings have in common", "%", 0)
    probability: u.Ratio = shown("chance of so large a misfit if the sensor itself did not scatter", "%", 1)
    notes: tuple[str, ...] = field(kw_only=True)
    series: tuple[Series, ...] = field(repr=False, kw_only=True)
    estimate: Estimate = field(repr=False, kw_only=True)

    def rows(self) -> list[str]:
        """One line for each parameter that is told: value and both ends, in the units of the summary."""
        said, lines = self.summary(), []
        labels = {name: type(self).__dataclass_fields__[name].metadata["label"] for name in (*SENSOR, "repeatability")}
        for label in labels.values():
            if label in said:
                start = label.partition(",")[0]
                lines.append(f"{label}: {said[label]}, 95 % {said[start + ', low end']} to {said[start + ', high end']}")
        return lines


def study(
    bench: Bench, leave_out: Sequence[str] = (), wanted: Sequence[str] = (), reference_temperature: u.Kelvin = REFERENCE
) -> Calibration:
    """The torque sensor of a record of weights.

    Series that are left out of the fit can be predicted with :func:`predict`.
    What is in ``wanted`` must be told, or a ValueError says what is missing.
    """
    fitted = _fitted(bench, leave_out)
    for name in wanted:
        if name not in SENSOR:
            raise ValueError(f"wanted holds {name!r}: expected some of {', '.join(SENSOR)}")
        if name not in _possible(fitted):
            raise ValueError(f"bench record {bench.name!r}: {_untold(name, fitted)}")
    try:
        found = estimate(bench, leave_out, reference_temperature)
    except fitting.NotSettled as error:
        raise ValueError(f"bench record {bench.name!r} fits no one sensor: {error}") from None
    sides = {run.words["side"] for run in found.fitted}
    contrasts = (BOW, SIDE) if len(sides) == 2 else (BOW,)
    bent = _bent(found, contrasts)
    values: dict[str, float | None] = {}
    for name in SENSOR:
        for end, one in zip(("", "_low", "_high"), found.interval(name), strict=True):
            values[f"{name}{end}"] = float(one) if name in found.told else None
    series = _series(found)
    gain = abs(values["gain"])
    return Calibration(
        record=bench.name,
        reference_temperature=reference_temperature,
        series_count=float(len(found.fitted)),
        readings=float(sum(len(one.torque) for one in series)),
        full_scale=found.equations.full_scale,
        **values,
        repeatability=float(found.scatter) / gain,
        repeatability_low=float(found.scatter_low) / gain,
        repeatability_high=float(found.scatter_high) / gain,
        largest_deviation=_largest(series, found.equations.full_scale),
        bow=bent[BOW][0],
        bow_error=bent[BOW][1],
        side_difference=bent[SIDE][0] if SIDE in bent else None,
        side_difference_error=bent[SIDE][1] if SIDE in bent else None,
        common_share=_common_share(found),
        probability=float(found.probability),
        notes=tuple(_notes(found, series, bent)),
        series=series,
        estimate=found,
    )


def _bent(found: Estimate, contrasts: tuple[str, ...]) -> dict[str, tuple[float, float]]:
    """What the straight line leaves out, fitted as one more parameter each, with its standard error."""
    equations = replace(found.equations, contrasts=contrasts)
    held = [found.equations.place.get(name) for name in equations.names]

    def widened(values: np.ndarray, fill: float) -> np.ndarray:
        return np.array([fill if place is None else values[place] for place in held])

    conditions = [equations.scattering(run, found.scatter) for run in found.fitted]
    start, scale, known = widened(found.fit.value, 0.0), widened(found.scale, 1.0), widened(found.known, np.inf)
    fit = fitting.adjustment(conditions, start, scale, np.zeros(len(start)), known)
    places = [equations.place[name] for name in contrasts]
    return {name: (float(fit.value[place]), float(fit.error[place])) for name, place in zip(contrasts, places, strict=True)}


def _series(found: Estimate) -> tuple[Series, ...]:
    made, first = [], 0
    line = found.line()
    band = fitting.confidence_interval(0.0, 1.0, 0.95, found.freedom).high
    for run in found.fitted:
        torque, seen = weight_runs.torque(run), weight_runs.volts(run)
        warm = run.values("sensor_temperature")
        down = weight_runs.unloading(run)
        width = calibration.loop_half_width(torque, torque[int(np.argmax(np.abs(torque)))], found.value("hysteresis"))
        _, variance = fitting.scattered(found.equations.scattering(run, found.scatter), found.fit.value)
        count = len(torque)
        made.append(
            Series(
                run.name,
                run.words["side"],
                float(np.mean(warm)),
                torque,
                down,
                calibration.torque_of_output(seen, warm, **line) - torque,
                np.where(down, width, -width),
                band * np.sqrt(variance[..., 0]) / abs(float(found.value("gain"))),
                found.fit.standardised[first : first + count],
                run.values("hung_mass"),
            )
        )
        first += count
    return tuple(made)


def _largest(series: Sequence[Series], full_scale: float) -> float:
    """The largest mean deviation of the same weight on the same way and side, over full scale: scatter is averaged, the loop is not."""
    groups: dict[tuple, list[float]] = {}
    for one in series:
        for mass, down, off in zip(one.mass, one.unloading, one.deviation, strict=True):
            groups.setdefault((one.side, round(float(mass), 6), bool(down)), []).append(float(off))
    return max(abs(float(np.mean(offs))) for offs in groups.values()) / full_scale


def _conditions(found: Estimate) -> list[fitting.Condition]:
    return [found.equations.scattering(run, found.scatter) for run in found.fitted]


def expected_errors(found: Estimate, known: np.ndarray, more: Sequence[fitting.Condition] = ()) -> np.ndarray:
    """Standard errors with other instruments, or with more series."""
    return fitting.prospect([*_conditions(found), *more], found.fit.value, np.maximum(found.fit.error, 1e-12), known)


def _common_share(found: Estimate) -> float:
    """Share of the gain's variance that would go if all readings were made with instruments without a common error."""
    place, first = found.equations.place["gain"], len(found.equations.own)
    known = found.known.copy()
    known[first:] *= 1e-3
    return float(1 - (expected_errors(found, known)[place] / expected_errors(found, found.known)[place]) ** 2)


def _untold(name: str, fitted: Sequence[Run]) -> str:
    """Why a parameter does not come out, and what would tell it."""
    if name == "hysteresis":
        return "No series with weights taken off again: hysteresis is not identified; hang the weights up and take them down in turn."
    low, high = (one - 273.15 for one in _span(fitted))
    return (
        f"One temperature only ({low:.1f} to {high:.1f} °C): drift of zero and gain is not identified; "
        f"hang the weights again on a sensor at least {LEAST_SPAN:.0f} K warmer or colder."
    )


def _notes(found: Estimate, series: Sequence[Series], bent: dict[str, tuple[float, float]]) -> Iterator[str]:
    """What has to be said with the numbers."""
    untold = [name for name in SENSOR if name not in found.told]
    yield from dict.fromkeys(_untold(name, found.fitted) for name in untold)
    if untold:
        sizes = _doubts(found.equations.full_scale)
        said = {
            "hysteresis": f"hysteresis {100 * sizes['hysteresis']:g} %",
            "zero_drift": f"drift of the zero {sizes['zero_drift']:.2f} N·m/K",
            "gain_drift": f"drift of the gain {100 * sizes['gain_drift']:g} %/K",
        }
        yield (
            "The other intervals hold it with a standard deviation that is assumed and not measured: "
            f"{', '.join(said[name] for name in untold)}; a sensor that is far worse lies outside them."
        )
    sides = {one.side for one in series}
    if len(sides) == 1:
        yield f"Weights on the {next(iter(sides))} side only: whether the other side has the same gain is not identified."
    if len(series) == len({(one.side, round(one.temperature / LEAST_SPAN)) for one in series}):
        yield "No series was repeated: scatter from one mounting to the next is not identified."
    for name, (value, error) in bent.items():
        if abs(value) > HEAVY * error:
            yield (
                f"Not a straight line: {name}, is {100 * value:+.2f} % with a standard error of {100 * error:.2f} %; "
                "the intervals of the line do not hold it."
            )
    if float(found.value("gain")) < 0:
        yield "The output falls with forward torque: write sign = -1 for it, or change over the two outputs of the bridge."
    for one in series:
        mean = float(np.mean(one.standardised)) * np.sqrt(len(one.standardised))
        if abs(mean) > FAR:
            off = float(np.mean(one.deviation - one.expected))
            yield f"Series {one.name} lies {off:+.2f} N·m off the others: did something move, or is zero_shift worse than stated?"
        for row in np.flatnonzero(np.abs(one.standardised) > FAR):
            way = "down" if one.unloading[row] else "up"
            yield (
                f"Series {one.name}, reading {row + 1} ({one.mass[row]:g} kg, on the way {way}): "
                f"{one.standardised[row]:+.1f} standard deviations off."
            )


@dataclass(frozen=True)
class Prediction(Result):
    """A series that was left out: what the fit of the others says the sensor should show, as torque, and what it showed."""

    name: str = shown("series")
    inside_share: u.Ratio = shown("readings inside their 95 % prediction interval", "%", 0)
    torque: u.NewtonMetre = shown("torque by the weights", "N*m", 2)
    measured: u.NewtonMetre = shown("torque by the output", "N*m", 2)
    expected: u.NewtonMetre = shown("expected", "N*m", 2)
    low: u.NewtonMetre = shown("95 % from", "N*m", 2)
    high: u.NewtonMetre = shown("95 % to", "N*m", 2)
    unloading: np.ndarray = field(kw_only=True)


def predict(found: Calibration, name: str) -> Prediction:
    """What a series that was left out should show, with 95 % prediction intervals."""
    whole = found.estimate
    if name in {run.name for run in whole.fitted}:
        raise ValueError(f"series {name!r} was fitted: leave it out of the fit to predict it")
    run = whole.equations.bench[name]
    if run.kind != weights.KIND:
        raise ValueError(f"run {name!r} is {run.kind}: it is no series of weights")
    off, variance = fitting.foreseen(whole.equations.scattering(run, whole.scatter), whole.fit)
    measured = calibration.torque_of_output(weight_runs.volts(run), run.values("sensor_temperature"), **whole.line())
    expected = measured - off[..., 0] / whole.value("gain")
    low, high = fitting.confidence_interval(expected, np.sqrt(variance[..., 0]) / abs(whole.value("gain")), 0.95, whole.freedom)
    inside = float(np.mean((measured >= low) & (measured <= high)))
    return Prediction(name, inside, weight_runs.torque(run), measured, expected, low, high, unloading=weight_runs.unloading(run))
