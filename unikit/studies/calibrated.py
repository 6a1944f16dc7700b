"""What a calibration is good for: the torque of an output, the next measurement, the rider's share of the errors, and the build."""

from __future__ import annotations

import math
import os
from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from .. import units as u
from ..formulas import calibration, fitting
from ..inputs import Build, Spread, chain_rules, save_build
from ..inputs import replace as replaced
from ..inputs.bench import Run, make_run
from ..inputs.fields import specs
from ..inputs.spreads import write_spread
from .calibration import LEAST_SPAN, SENSOR, WORDS, Calibration, expected_errors
from .results import Result, shown
from .split import felt_share
from .torque_chain import element_share
from .verdicts import Rule

WARMER = 15.0  # K beyond the series there are: what a warm room or a cold cellar gives
CHAIN = "sensor.chain"
STEP = 1e-4  # of a standard error or of the value, for slopes of a formula that is nearly straight

RULES = (
    Rule(
        "sensor scale",
        "Is the assist gain known, as far as the sensor's scale is?",
        "5 % of the gain",
        "half of the 95 % interval of the sensor's scale",
        1.0,
        2.0,
        "weights on the crank, a crank measured better, a checked set of weights",
        "calibration",
    ),
)
ALLOWED = 0.05  # of the assist gain: a convention of this kit


def margins(build: Build) -> list[tuple[str, float, str]]:
    """What the build says of how well its sensor's scale is known."""
    chain = build.sensor.chain if build.sensor is not None else None
    if chain is None or chain.rated_output is None:
        return [("sensor scale", math.nan, "no measured scale: sensor.chain.rated_output is missing")]
    spread = build.spreads.get("sensor.chain.rated_output")
    if spread is None:
        return [("sensor scale", math.nan, "no spread on sensor.chain.rated_output: weights on the crank tell it")]
    half = (spread.quantile(0.975) - spread.quantile(0.025)) / 2 / spread.nominal
    return [("sensor scale", ALLOWED / half, "the sensor's scale")]


@dataclass(frozen=True)
class TorqueReading(Result):
    """The torque that an output stands for, with both ends of its 95 % interval."""

    output: u.Volt = shown("output", "mV", 2)
    temperature: u.Kelvin = shown("temperature of the sensor", "degC", 1)
    torque: u.NewtonMetre = shown("torque", "N*m", 2)
    low: u.NewtonMetre = shown("torque, low end", "N*m", 2)
    high: u.NewtonMetre = shown("torque, high end", "N*m", 2)
    by_line: u.NewtonMetre = shown("standard error by the line", "N*m", 3)
    by_scatter: u.NewtonMetre = shown("standard error by the sensor's scatter", "N*m", 3)
    by_loop: u.NewtonMetre = shown("standard error by the loop, way up or down not known", "N*m", 3)


def torque_at(found: Calibration, output: u.Volt, temperature: u.Kelvin) -> TorqueReading:
    """The torque of one reading of the sensor, and how far off it may be.

    Whether the load was rising or falling is not known, nor how far it had
    risen: the loop counts with its half width for the greatest torque hung.
    """
    whole = found.estimate
    line, places = whole.line(), [whole.equations.place[name] for name in SENSOR if name != "hysteresis"]
    names = [name for name in SENSOR if name != "hysteresis"]
    torque = float(calibration.torque_of_output(output, temperature, **line))
    slopes = []
    for name, place in zip(names, places, strict=True):
        step = STEP * float(whole.fit.error[place])
        ends = [calibration.torque_of_output(output, temperature, **(line | {name: line[name] + way * step})) for way in (1, -1)]
        slopes.append(float(ends[0] - ends[1]) / 2 / step)
    by_line = math.sqrt(np.array(slopes) @ whole.fit.covariance[np.ix_(places, places)] @ np.array(slopes))
    inside = min(abs(torque), found.full_scale)
    by_loop = abs(float(calibration.loop_half_width(inside, found.full_scale, found.hysteresis or 0.0)))
    error = math.hypot(by_line, found.repeatability, by_loop)
    ends = fitting.confidence_interval(torque, error, 0.95, whole.freedom)
    return TorqueReading(output, temperature, torque, float(ends.low), float(ends.high), by_line, found.repeatability, by_loop)


@dataclass(frozen=True)
class NextMeasurements(Result):
    """What each further measurement would leave of the standard errors there are."""

    what: np.ndarray = shown("measurement")
    gain: u.Ratio = shown("gain: error left", "%", 0)
    offset: u.Ratio = shown("offset: error left", "%", 0)
    hysteresis: u.Ratio = shown("hysteresis: error left", "%", 0)
    zero_drift: u.Ratio = shown("zero drift: error left", "%", 0)
    gain_drift: u.Ratio = shown("gain drift: error left", "%", 0)

    def best(self, name: str) -> tuple[str, float]:
        """The measurement that narrows the interval of a parameter most, and what it leaves of it."""
        left = getattr(self, name)
        place = int(np.argmin(left))
        return str(self.what[place]), float(left[place])

    def rows(self) -> list[str]:
        """One line for each parameter."""
        return [f"{WORDS[name]}: {self.best(name)[0]} leaves {100 * self.best(name)[1]:.0f} % of the interval" for name in SENSOR]


def _again(run: Run, warmer: float, found: Calibration) -> fitting.Condition:
    """The equations of a series like another one, on a sensor so much warmer."""
    warm = run["sensor_temperature"]
    quantities = dict(run.quantities) | {"sensor_temperature": replace(warm, values=warm.values + warmer)}
    return found.estimate.equations.scattering(make_run(run.name, run.kind, quantities, run.words), found.estimate.scatter)


def _candidates(found: Calibration) -> Iterator[tuple[str, np.ndarray, list[fitting.Condition]]]:
    """Further measurements: what, what is known then, which series more."""
    whole, known = found.estimate, found.estimate.known
    names = whole.equations.names
    for name in dict.fromkeys(one.rpartition(":")[0] for one in names[len(whole.equations.own) :]):
        if name.endswith("zero_shift"):
            continue
        better = np.where([one.rpartition(":")[0] == name for one in names], known / 2, known)
        yield f"{name} twice as well", better, []
    groups: dict[tuple[str, int], Run] = {}
    for one, run in zip(found.series, whole.fitted, strict=True):
        groups.setdefault((one.side, round(one.temperature / LEAST_SPAN)), run)
    for run in groups.values():
        yield f"a series like {run.name} again", known, [_again(run, 0.0, found)]
    means = [one.temperature for one in found.series]
    for word, place, step in (("warmer than", int(np.argmax(means)), WARMER), ("colder than", int(np.argmin(means)), -WARMER)):
        run = whole.fitted[place]
        yield f"a series {WARMER:.0f} K {word} {run.name}", known, [_again(run, step, found)]


def next_measurements(found: Calibration) -> NextMeasurements:
    """By how much each further measurement would narrow the intervals, expected before it is made.

    A parameter that is not told counts from the doubt about it: a series that tells it is named in the notes.
    """
    whole = found.estimate
    before = expected_errors(whole, whole.known)
    what, left = [], []
    for name, known, more in _candidates(found):
        what.append(name)
        left.append((expected_errors(whole, known, more) / before)[: len(SENSOR)])
    columns = dict(zip(SENSOR, np.array(left).T, strict=True))
    return NextMeasurements(what=np.array(what), **columns)


@dataclass(frozen=True)
class RiderShare(Result):
    """What the sensor's errors mean at the crank and at the wheel; NaN where the build or the record does not say."""

    gear: str = shown("gear")
    assist_gain: u.Ratio = shown("assist gain while driving", "", 3)
    assist_gain_low: u.Ratio = shown("assist gain by the gain's interval, low end", "", 4)
    assist_gain_high: u.Ratio = shown("assist gain by the gain's interval, high end", "", 4)
    assist_gain_warm: u.Ratio = shown("assist gain when the sensor has warmed", "", 4)
    warming: u.KelvinRise = shown("warming since the zero was set", "K", 0)
    phantom_torque: u.NewtonMetre = shown("phantom torque at the crank, by drift of the zero", "N*m", 2)
    phantom_at_rest: u.NewtonMetre = shown("motor torque that answers it at rest", "N*m", 2)
    phantom_in_a_push: u.NewtonMetre = shown("motor torque that answers it on top of a push", "N*m", 2)
    loop_torque: u.NewtonMetre = shown("error by the loop, in the middle of a hard push", "N*m", 2)
    scatter_torque: u.NewtonMetre = shown("scatter, 95 of 100 readings within", "N*m", 2)
    loop_lag: u.Radian = shown("lag by the loop", "deg", 2)
    dead_band: u.NewtonMetre = shown("dead band", "N*m", 2)
    heard: str = shown("phantom torque against the dead band")


def for_the_rider(build: Build, found: Calibration) -> RiderShare:
    """The errors of the sensor in the engaged gear of a build.

    Raises ValueError for a build without assist.
    """
    if build.assist is None:
        raise ValueError(f"build {build.name!r} has no assist: nothing answers the sensor")
    gear = build.gears.engaged
    gain, chain = float(build.assist.driving_gain[gear]), build.sensor.chain
    largest = max(gain, float(build.assist.resisting_gain[gear])) / felt_share(build)  # a zero may drift either way
    warming = math.nan if chain is None or chain.warming is None else float(chain.warming)
    band = math.nan if chain is None else float(chain.dead_band or 0.0)
    drift = math.nan if found.zero_drift is None else abs(found.zero_drift)
    phantom = drift * warming
    change = math.nan if found.gain_drift is None else found.gain_drift * warming
    loop = math.nan if found.hysteresis is None else found.hysteresis
    if math.isnan(phantom):
        heard = "unknown: " + ("the record does not tell the drift" if math.isnan(drift) else "sensor.chain.warming is missing")
    else:
        heard = "the motor answers it at rest too" if phantom > band else "hidden at rest, not on top of a push"
    return RiderShare(
        gear=gear,
        assist_gain=gain,
        assist_gain_low=gain * found.gain_low / found.gain,
        assist_gain_high=gain * found.gain_high / found.gain,
        assist_gain_warm=gain * (1 + change),
        warming=warming,
        phantom_torque=phantom,
        phantom_at_rest=0.0 if phantom <= band else largest * phantom,
        phantom_in_a_push=largest * phantom,
        loop_torque=float(calibration.loop_half_width(found.full_scale / 2, found.full_scale, loop)),
        scatter_torque=1.96 * found.repeatability,
        loop_lag=float(calibration.loop_lag(loop)),
        dead_band=band,
        heard=heard,
    )


def _share(build: Build) -> float:
    """Torque at the element over that at the crank, in the engaged gear."""
    gear = build.gears.named(build.gears.engaged)
    if build.sensor.location == "reaction member" and not gear.ratio > 1:
        raise ValueError(f"build {build.name!r}: in gear {gear.name!r} the reaction member takes no torque; engage the gear of the test")
    return element_share(build, gear)


def _divider(build: Build, found: Calibration) -> float:
    """Voltage where the record was read over output of the amplifier: 1, or that of the build's resistors for a record of counts."""
    counted = {"converter_counts" in run for run in found.estimate.fitted}
    share = float(chain_rules.divider(build.sensor.chain)) if True in counted else 1.0
    if len(counted) == 2 and share != 1:
        raise ValueError(
            f"record {found.record!r} mixes outputs of the amplifier with counts, behind a divider of {share:.3f}: leave out one of both"
        )
    return share


def correct(build: Build, found: Calibration, divider: u.Ratio | None = None) -> Build:
    """The build with the measured sensor: rated output at the greatest torque hung, output at rest, and drift of the zero.

    Each carries its standard error as a spread, and ``source`` says where it is
    from.  What the weights do not tell keeps what the build said.  A strained
    shape stays, for its strength; a bought element keeps its rated torque, and
    gets the output that the measured line has there.  ``divider`` is the voltage
    where the record was read over that of the amplifier: if left out, that of
    the chain's resistors for converter counts, and 1 for an output.
    """
    chain = None if build.sensor is None else build.sensor.chain
    if chain is None:
        raise ValueError(
            f"build {build.name!r} has no table [{CHAIN}]: excitation and amplifier gain are needed to write the sensor's output"
        )
    if found.gain < 0:
        raise ValueError(
            f"record {found.record!r}: the output falls with forward torque; write sign = -1 for its column, or change the wires"
        )
    divider = _divider(build, found) if divider is None else divider
    share = _share(build)
    torque = float(chain.rated_torque) if chain.element == "rated" else found.full_scale * share
    volts = torque / share / (float(chain.excitation) * float(chain.amplifier_gain) * divider)  # at the bridge, by gain and excitation
    made = {
        "rated_output": (found.gain * volts, _error(found, "gain") * volts),
        "rest_output": (found.offset / divider, _error(found, "offset") / divider),
    }
    if found.zero_drift is not None:
        made["zero_drift"] = (abs(found.zero_drift) * share, _error(found, "zero_drift") * share)
    limits = specs(type(chain))
    changes: dict[str, object] = {f"{CHAIN}.rated_torque": torque}
    for name, (value, error) in made.items():
        spec = limits[name]
        if not spec.low <= value <= spec.high:
            raise ValueError(f"record {found.record!r}: {name} comes out as {value:.4g}, and a build allows {spec.low:g} to {spec.high:g}")
        changes[f"{CHAIN}.{name}"] = write_spread(Spread("normal", (value, error)), spec.kind, spec.unit)
    kept = "" if "zero_drift" in made else "; not from the weights: drift of the zero"
    source = f"bench record {found.record!r}: mean and standard error by unikit.studies.calibration{kept}"
    changes[f"{CHAIN}.source"] = f"{source}. All else: {chain.source}" if chain.source else f"{source}. All else as in {build.name!r}"
    return replaced(build, changes)


def _error(found: Calibration, name: str) -> float:
    return float(found.estimate.error_of(name))


def write(build: Build, found: Calibration, path: str | os.PathLike[str], overwrite: bool = False, divider: u.Ratio | None = None) -> None:
    """Write the build with the measured sensor into a file, which is never written over unasked."""
    save_build(correct(build, found, divider), path, overwrite)
