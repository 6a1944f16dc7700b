"""A motor from its bench record: constants with 95 % intervals, what the runs cannot tell, and where they disagree."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from .. import units
from .. import units as u
from ..formulas import fitting
from ..inputs import Build, Spread, replace
from ..inputs.bench import QUANTITIES, Bench, Run
from ..inputs.fields import pretty_unit, specs
from ..inputs.spreads import write_spread
from . import bench_runs
from .bench_runs import MOTOR, Equations, contrasts_of, shown_by
from .results import Result, shown

DOUBT = 0.3  # share by which what a build says may be off: what the runs tell worse than that counts as not told
COEFFICIENT_DOUBT = 3e-4  # 1/K, of a magnet grade that is taken from a list
LEAST_DRAG = 0.02  # of the torque at the greatest current: a build that says there is no drag is not believed further than that
SOME_DRAG = 0.1
WIDE = 1e3  # doubts: as good as nothing known
UNLIKELY = 1e-3  # chance below which a misfit is not taken for chance
HEAVY = 3.0  # standard errors between two ways of measuring the same, from which on they disagree
BAND = 1.96  # standard deviations on either side that hold 95 of 100 residuals

WORDS = {
    "torque_constant_peak": "torque constant",
    "phase_resistance": "phase resistance",
    "hysteresis_torque": "hysteresis torque",
    "eddy_drag": "eddy drag",
    "roll_off": "saturation current",
    "magnet_temperature_coefficient": "magnet temperature coefficient",
}
DRAG = (
    "spin it with a torque meter, or run it without load, at several speeds from slow to fast; "
    "phase currents alone tell drag only over the torque constant"
)
NEEDED = {
    "torque_constant_peak": "spin the motor and read the open-circuit voltage, or hold it at stall and weigh the torque",
    "phase_resistance": "measure the resistance between two leads with four wires",
    "hysteresis_torque": DRAG,
    "eddy_drag": DRAG,
    "roll_off": "hold it at stall with currents up to the controller's limit",
    "magnet_temperature_coefficient": "spin it with the magnets cold and again with them warm",
}


BENCH_UNITS = {"rotation": "rpm", "resistance": "mohm", "temperature": "°C"}  # where they are not those of SI


def in_bench_units(quantity: str, values: u.Values) -> tuple[u.Values, str]:
    """Numbers of a quantity as people at a bench write them, and their unit."""
    kind = QUANTITIES[quantity].kind
    unit = BENCH_UNITS.get(kind, units.KINDS[kind].base)
    return units.convert(values, kind, units.KINDS[kind].base, unit), pretty_unit(unit)


def _ends(quantity: str, values: np.ndarray) -> str:
    shown, unit = in_bench_units(quantity, values)
    return f"{np.min(shown):.{0 if np.max(shown) > 20 else 1}f} to {np.max(shown):.0f} {unit}"


@dataclass(frozen=True, eq=False)
class RunFit:
    """One shown quantity of a run: measured and fitted over what the run varies, and what is left."""

    run: str
    kind: str
    quantity: str
    over: str
    at: np.ndarray
    measured: np.ndarray
    fitted: np.ndarray
    standardised: np.ndarray

    @property
    def over_text(self) -> str:
        """From where to where the run went, in a unit of the bench."""
        return _ends(self.over, self.at)

    @property
    def most_text(self) -> str:
        """The greatest reading, in a unit of the bench."""
        shown, unit = in_bench_units(self.quantity, self.measured)
        return f"{np.max(shown):.3g} {unit}"


@dataclass(frozen=True, eq=False)
class Estimate:
    """The joint fit of one record, or of many alike (leading axes)."""

    equations: Equations
    fit: fitting.Fit
    measured: tuple[str, ...]  # the motor's parameters that the runs tell
    stretch: np.ndarray  # by which errors are widened because the misfit is no chance
    probability: np.ndarray

    def interval(self, name: str) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """A parameter with both ends of its 95 % interval."""
        place = self.equations.place[name]
        value = self.fit.value[..., place]
        low, high = fitting.confidence_interval(value, self.stretch * self.fit.error[..., place])
        return value, low, high

    def saturation(self) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """The saturation current with both ends; endless where no roll-off is within the interval."""
        value, low, high = self.interval("roll_off")
        return tuple(np.where(one > 0, 1 / np.sqrt(np.where(one > 0, one, 1.0)), np.inf) for one in (value, high, low))


def _believed(build: Build, equations: Equations) -> tuple[np.ndarray, np.ndarray]:
    """What the build says of each of the motor's parameters, and how far that may be off."""
    said = build.motor
    held = [float(np.max(run.values("phase_current_peak"))) for run in equations.runs if run.kind == "stall"]
    reach = max(held, default=0.0) or build.controller.phase_current_limit
    fastest = max([float(np.max(run.values("rotation"))) for run in equations.runs if "rotation" in run], default=0.0) or 1.0
    drag = max(said.hysteresis_torque + said.eddy_drag * fastest, LEAST_DRAG * said.torque_constant_peak * reach)
    roll_off = 0.0 if said.saturation_current is None else said.saturation_current**-2
    value = {name: getattr(said, name) for name in MOTOR if name != "roll_off"} | {"roll_off": roll_off}
    doubt = {
        "torque_constant_peak": DOUBT * said.torque_constant_peak,
        "phase_resistance": DOUBT * said.phase_resistance,
        "hysteresis_torque": drag,
        "eddy_drag": drag / fastest,
        "roll_off": reach**-2.0,  # a saturation current well above the reach, or one about as large
        "magnet_temperature_coefficient": COEFFICIENT_DOUBT,
    }
    return np.array([value[name] for name in MOTOR]), np.array([doubt[name] for name in MOTOR])


def _start(equations: Equations, believed: np.ndarray, doubt: np.ndarray) -> np.ndarray:
    """Parameters near enough for the search: torque constant and resistance as the runs plainly show them."""
    sets = np.broadcast_shapes(*(run.values(name).shape[:-1] for run in equations.runs for name in equations.taken_by(run)))
    start = np.zeros((*sets, len(equations.names)))
    start[..., : len(MOTOR)] = believed
    start[..., MOTOR.index("roll_off")] = 0.0  # from none every roll-off is found; from too strong a one the search can run away
    drag = MOTOR.index("hysteresis_torque")
    start[..., drag] = max(believed[drag], SOME_DRAG * doubt[drag])  # with no drag at all, nothing shows by how much runs differ in it

    def plainly(name: str, value: np.ndarray) -> None:
        if np.all(np.isfinite(value) & (value > 0)):
            start[..., MOTOR.index(name)] = value

    for run in equations.runs:
        if "line_voltage_rms" in run:
            voltage, rotation = (np.sum(run.values(name), axis=-1) for name in ("line_voltage_rms", "rotation"))
            plainly("torque_constant_peak", bench_runs.PER_VOLT * voltage / rotation)
        if "line_resistance" in run:
            plainly("phase_resistance", np.median(run.values("line_resistance"), axis=-1) / 2)
    for run in equations.runs if bench_runs.STALL_CONSTANT in equations.contrasts else ():
        if run.kind == "stall":  # the first reading is the least saturated
            torque = run.values("lever_arm")[..., None] * run.values("force")
            share = torque[..., 0] / run.values("phase_current_peak")[..., 0] / start[..., MOTOR.index("torque_constant_peak")] - 1
            start[..., equations.place[bench_runs.STALL_CONSTANT]] = np.where(np.isfinite(share), share, 0.0)
    return start


def estimate(build: Build, bench: Bench, leave_out: Sequence[str] = (), contrasts: Sequence[str] = ()) -> Estimate:
    """Fit the motor's parameters to all runs of a record but those left out.

    A parameter that the runs tell worse than the build already does is held to
    what the build says, with its doubt.  Which ones depends on what was
    measured and how well, not on what came out.
    """
    if build.motor is None:
        raise ValueError(f"build {build.name!r} has no motor: a bench record is read against what was believed of one")
    bench.without(*leave_out)
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):  # what is not finite is refused in words
        return _estimate(build, bench, leave_out, contrasts)


def _estimate(build: Build, bench: Bench, leave_out: Sequence[str], contrasts: Sequence[str]) -> Estimate:
    equations = Equations(bench, build.motor.reference_temperature, tuple(contrasts))
    fitted = [run for run in equations.runs if run.name not in leave_out]
    if not fitted:
        raise ValueError(f"bench record {bench.name!r} has no run of resistance, spun, no load or stall to fit")
    conditions = [equations.condition(run) for run in fitted]
    believed, doubt = _believed(build, equations)
    start = _start(equations, believed, doubt)
    for run, one in zip(fitted, conditions, strict=True):
        if not np.isfinite(one.equation(one.measured, start)).all():
            raise ValueError(f"run {run.name!r} of bench record {bench.name!r} divides by zero: is a voltage or the lever arm 0?")
    prior, known = np.zeros(len(equations.names)), equations.known.copy()
    prior[: len(MOTOR)] = believed
    scale = np.where(np.isfinite(known), known, 1.0)
    scale[: len(MOTOR)] = doubt
    for place, name in enumerate(equations.names):
        if name.endswith(":lever zero") and name.partition(":")[0] in leave_out:
            known[place] = doubt[MOTOR.index("hysteresis_torque")]  # nothing fitted tells it
    known[: len(MOTOR)] = WIDE * doubt
    reachable = fitting.prospect(conditions, start, scale, known)[..., : len(MOTOR)]
    told = np.max(reachable.reshape(-1, len(MOTOR)), axis=0) <= doubt
    known[: len(MOTOR)] = np.where(told, np.inf, doubt)
    fit = fitting.adjustment(conditions, start, scale, prior, known)
    probability = np.asarray(fitting.misfit_probability(fit.chi_square, fit.freedom))
    stretch = np.where(probability < UNLIKELY, np.sqrt(fit.chi_square / fit.freedom), 1.0)
    return Estimate(equations, fit, tuple(name for name, one in zip(MOTOR, told, strict=True) if one), stretch, probability)


@dataclass(frozen=True)
class MotorBench(Result):
    """The motor of a record; low and high are ends of 95 % intervals, what the runs do not tell is left out."""

    record: str = shown("record")
    reference_temperature: u.Kelvin = shown("reference temperature", "degC", 0)
    torque_constant_peak: u.NewtonMetrePerAmpere | None = shown("torque constant, per ampere peak", "N*m/A", 4)
    torque_constant_peak_low: u.NewtonMetrePerAmpere | None = shown("torque constant, low end", "N*m/A", 4)
    torque_constant_peak_high: u.NewtonMetrePerAmpere | None = shown("torque constant, high end", "N*m/A", 4)
    phase_resistance: u.Ohm | None = shown("phase resistance", "mohm", 2)
    phase_resistance_low: u.Ohm | None = shown("phase resistance, low end", "mohm", 2)
    phase_resistance_high: u.Ohm | None = shown("phase resistance, high end", "mohm", 2)
    hysteresis_torque: u.NewtonMetre | None = shown("hysteresis torque, with bearings and seals", "N*m", 3)
    hysteresis_torque_low: u.NewtonMetre | None = shown("hysteresis torque, low end", "N*m", 3)
    hysteresis_torque_high: u.NewtonMetre | None = shown("hysteresis torque, high end", "N*m", 3)
    eddy_drag: u.NewtonMetreSecondPerRadian | None = shown("eddy drag", "N*m*s/rad", 5)
    eddy_drag_low: u.NewtonMetreSecondPerRadian | None = shown("eddy drag, low end", "N*m*s/rad", 5)
    eddy_drag_high: u.NewtonMetreSecondPerRadian | None = shown("eddy drag, high end", "N*m*s/rad", 5)
    saturation_current: u.Ampere | None = shown("saturation current, peak", "A", 1)
    saturation_current_low: u.Ampere | None = shown("saturation current, low end", "A", 1)
    saturation_current_high: u.Ampere | None = shown("saturation current, high end", "A", 1)
    magnet_temperature_coefficient: u.PerKelvin | None = shown("magnet temperature coefficient", "%/K", 4)
    magnet_temperature_coefficient_low: u.PerKelvin | None = shown("magnet temperature coefficient, low end", "%/K", 4)
    magnet_temperature_coefficient_high: u.PerKelvin | None = shown("magnet temperature coefficient, high end", "%/K", 4)
    stall_over_spun: u.Ratio | None = shown("torque constant by stall over by spinning, less 1", "%", 2)
    stall_over_spun_error: u.Ratio | None = shown("torque constant by stall, standard error", "%", 2)
    drag_over_spun: u.Ratio | None = shown("drag under own power over spun, less 1", "%", 2)
    drag_over_spun_error: u.Ratio | None = shown("drag under own power, standard error", "%", 2)
    chi_square: u.Number = shown("sum of squared residuals", "", 1)
    freedom: u.Number = shown("degrees of freedom", "", 0)
    probability: u.Ratio = shown("chance of so large a misfit", "%", 1)
    notes: tuple[str, ...] = field(kw_only=True)
    runs: tuple[RunFit, ...] = field(repr=False, kw_only=True)
    estimate: Estimate = field(repr=False, kw_only=True)

    @property
    def correlation(self) -> np.ndarray:
        """Correlation of the motor's parameters, in the order of ``bench_runs.MOTOR``."""
        return fitting.correlation(self.estimate.fit.covariance)[: len(MOTOR), : len(MOTOR)]


def study(build: Build, bench: Bench, leave_out: Sequence[str] = ()) -> MotorBench:
    """The motor of a bench record, read against what the build says of it.

    The build gives the reference temperature and what the runs cannot tell.
    Runs that are left out of the fit can be predicted with :func:`predict`.
    """
    used = [run for run in bench.of_kind(*bench_runs.SHOWN) if run.name not in leave_out]
    try:
        shares, errors = _contrasts(build, bench, leave_out, used)
    except fitting.NotSettled:  # then neither do the runs together, and that is said below
        shares, errors = {}, {}
    try:
        found = estimate(build, bench, leave_out)
    except fitting.NotSettled as error:
        apart = [_disagreement(name, shares[name], errors[name]) for name in shares if abs(shares[name]) > HEAVY * errors[name]]
        raise ValueError(f"bench record {bench.name!r} fits no one motor. {' '.join(apart) or error}") from None
    values: dict[str, float | None] = {}
    for name in MOTOR:
        label = "saturation_current" if name == "roll_off" else name
        ends = found.saturation() if name == "roll_off" else found.interval(name)
        told = name in found.measured
        values |= {f"{label}{end}": float(one) if told else None for end, one in zip(("", "_low", "_high"), ends, strict=True)}
    runs = _runs(found, used)
    return MotorBench(
        record=bench.name,
        reference_temperature=build.motor.reference_temperature,
        **values,
        stall_over_spun=shares.get(bench_runs.STALL_CONSTANT),
        stall_over_spun_error=errors.get(bench_runs.STALL_CONSTANT),
        drag_over_spun=shares.get(bench_runs.NO_LOAD_DRAG),
        drag_over_spun_error=errors.get(bench_runs.NO_LOAD_DRAG),
        chi_square=float(found.fit.chi_square),
        freedom=float(found.fit.freedom),
        probability=float(found.probability),
        notes=tuple(_notes(build, found, used, runs, shares, errors)),
        runs=tuple(runs),
        estimate=found,
    )


def _contrasts(build: Build, bench: Bench, leave_out: Sequence[str], used: list[Run]) -> tuple[dict[str, float], dict[str, float]]:
    """How far two ways of measuring the same are apart, fitted as one more parameter each."""
    names = contrasts_of(used)
    if not names:
        return {}, {}
    wider = estimate(build, bench, leave_out, names)
    places = {name: wider.equations.place[name] for name in names}
    return (
        {name: float(wider.fit.value[place]) for name, place in places.items()},
        {name: float(wider.stretch * wider.fit.error[place]) for name, place in places.items()},
    )


def _runs(found: Estimate, used: list[Run]) -> list[RunFit]:
    made, first = [], 0
    for run in used:
        condition, names = found.equations.condition(run), shown_by(run)
        off = condition.equation(condition.measured, found.fit.value)
        count = off.size
        left = found.fit.standardised[first : first + count].reshape(off.shape)
        first += count
        over = bench_runs.OVER[run.kind]
        for place, name in enumerate(names):
            measured = run.values(name)
            made.append(RunFit(run.name, run.kind, name, over, run.values(over), measured, measured - off[..., place], left[:, place]))
    return made


def _disagreement(name: str, share: float, error: float) -> str:
    return (
        f"Runs disagree: {name}, is {100 * share:+.1f} % with a standard error of {100 * error:.1f} %; "
        "look for a wrong constant, a slipping lever, peak taken for rms, or line for phase."
    )


def _notes(build, found: Estimate, used: list[Run], runs: list[RunFit], shares: dict[str, float], errors: dict[str, float]):
    """What has to be said with the numbers."""
    for name in MOTOR:
        if name not in found.measured:
            yield f"The {WORDS[name]} does not come out of these runs and is taken from the build, with doubt: to tell it, {NEEDED[name]}."
    if "roll_off" in found.measured and np.isinf(found.saturation()[2]):
        yield f"No roll-off beyond doubt: the saturation current is above {found.saturation()[1]:.0f} A (95 %), and may be far above."
    without = [run.name for run in used if run.kind != "resistance" and "magnet_temperature" not in run]
    if without:
        reference = build.motor.reference_temperature - 273.15
        yield f"Without magnet temperature: {', '.join(without)}; the magnets are taken to be at {reference:.0f} °C there."
    for name, share in shares.items():
        if abs(share) > HEAVY * errors[name]:
            yield _disagreement(name, share, errors[name])
    if float(found.probability) < UNLIKELY:
        yield (
            f"Residuals are larger than the stated uncertainties allow (chance below {100 * UNLIKELY:g} %); "
            f"all intervals are widened by {float(found.stretch):.2f}."
        )
    for one in runs:
        wild = int(np.sum(np.abs(one.standardised) > 4))
        if wild:
            yield f"Run {one.run}, {one.quantity}: {wild} of {len(one.standardised)} readings lie more than 4 standard deviations off."


@dataclass(frozen=True)
class Prediction(Result):
    """A held-out run: what the fit of the others says it should show, and what it showed."""

    run: str = shown("run")
    quantity: str = shown("quantity")
    inside_share: u.Ratio = shown("readings inside their 95 % prediction interval", "%", 0)
    over: str = field(kw_only=True)
    at: np.ndarray = field(kw_only=True)
    measured: np.ndarray = field(kw_only=True)
    expected: np.ndarray = field(kw_only=True)
    low: np.ndarray = field(kw_only=True)
    high: np.ndarray = field(kw_only=True)

    @property
    def over_unit(self) -> str:
        """Unit of what the run varies, as at a bench."""
        return in_bench_units(self.over, 0.0)[1]

    @property
    def unit(self) -> str:
        """Unit of what the run shows, as at a bench."""
        return in_bench_units(self.quantity, 0.0)[1]

    def shown(self, name: str) -> np.ndarray:
        """One of the arrays in the units of a bench."""
        return in_bench_units(self.over if name == "at" else self.quantity, getattr(self, name))[0]

    def rows(self) -> list[str]:
        """One line for each reading: where, measured, expected, and both ends."""
        lines = [f"{self.over} / {self.over_unit}: {self.quantity} / {self.unit} measured, expected, 95 % from, to"]
        columns = (self.shown(name) for name in ("at", "measured", "expected", "low", "high"))
        return lines + [f"{at:7.1f}: " + " ".join(f"{one:8.3f}" for one in row) for at, *row in zip(*columns, strict=True)]


def predict(found: MotorBench, run: str) -> tuple[Prediction, ...]:
    """What a run that was left out should show, with 95 % prediction intervals, one for each quantity that it shows.

    The interval holds the doubt about the motor, that about the instruments and
    the scatter of a reading.
    """
    whole, held = found.estimate, found.estimate.equations.bench[run]
    if held.kind not in bench_runs.SHOWN:
        raise ValueError(f"run {run!r} is {held.kind}: it shows nothing of what was fitted")
    if run in {one.run for one in found.runs}:
        raise ValueError(f"run {run!r} was fitted: leave it out of the fit to predict it")
    condition = whole.equations.condition(held)
    off, variance = fitting.foreseen(condition, whole.fit)
    over = bench_runs.OVER[held.kind]
    made = []
    for place, name in enumerate(shown_by(held)):
        measured = held.values(name)
        expected = measured - off[..., place]
        low, high = fitting.confidence_interval(expected, whole.stretch * np.sqrt(variance[..., place]))
        inside = float(np.mean((measured >= low) & (measured <= high)))
        at = held.values(over)
        made.append(Prediction(run, name, inside, over=over, at=at, measured=measured, expected=expected, low=low, high=high))
    return tuple(made)


def with_motor(build: Build, found: MotorBench) -> Build:
    """The build with the motor of the bench: what was measured with its error as a spread, and where it comes from.

    What the runs do not tell keeps what the build said.  Save it under a new
    name with ``save_build``, which never writes over a file unasked.
    """
    limits, changes = specs(type(build.motor)), {}
    for name in found.estimate.measured:
        label = "saturation_current" if name == "roll_off" else name
        value, low, high = (getattr(found, f"{label}{end}") for end in ("", "_low", "_high"))
        spec = limits[label]
        if not (np.isfinite(value) and spec.low <= value <= spec.high):
            continue  # such as no roll-off at all, or a drag that scatters below zero
        if np.isfinite(high):
            changes[f"motor.{label}"] = write_spread(Spread("normal", (value, (high - low) / 2 / BAND)), spec.kind, spec.unit)
        else:
            changes[f"motor.{label}"] = value
    kept = [WORDS[name] for name in MOTOR if f"motor.{'saturation_current' if name == 'roll_off' else name}" not in changes]
    source = f"bench record {found.record!r}: mean and standard error by unikit.studies.motor_bench"
    if kept:
        source += f"; not from the bench: {', '.join(kept)}"
    old = build.motor.source
    changes["motor.source"] = f"{source}. All else: {old}" if old else f"{source}. All else as in {build.name!r}"
    return replace(build, changes)
