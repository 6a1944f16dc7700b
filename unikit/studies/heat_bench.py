"""A heating run on the bench: the motor's thermal network with how well it is known, and what it predicts."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

from .. import units as u
from ..formulas import heat, motor, network_fit
from ..inputs import Build, Spread, replace
from ..inputs.bench import Measured, Run
from ..inputs.spreads import write_spread
from .network import matrix, paths
from .results import Result, shown

SENSORS = {"stator": "stator_temperature", "magnets": "magnet_temperature", "housing": "housing_temperature", "air": "air_temperature"}
NAMES = {name: name.replace("_", " ") for name in network_fit.NETWORK} | {"housing_factor": "factor on housing to air"}
FITTED = network_fit.NETWORK[:5]  # what a build file holds of it
LOOKED_FOR = {("winding", "stator"), ("stator", "housing"), ("housing", "air")}
RISES = 250.0 * np.linspace(0.0, 1.0, 251) ** 2  # K of the housing over the air: dense where natural convection begins
USUAL_RISE = 30.0  # K at which the conductance to the air is stated
APART = 3.0  # K that sensors may differ at the start, or five times what is stated of their offsets if that is more
STRANGE = 3.0  # times the resistance that the build states
TIED = 0.9  # correlation from which on two numbers are named as tied together
LOOSE = 0.2  # standard error, as a share, from which on a number counts as not told: a factor of 2.2 between the ends of its interval


@dataclass(frozen=True)
class HeatBench(Result):
    """The thermal network of a heating run; the ends are those of 95 % intervals."""

    run: str = shown("run")
    sensors: str = shown("temperatures measured")
    readings: u.Number = shown("readings in the fit", "", 0)
    winding_capacity: u.JoulePerKelvin = shown("winding capacity", "J/K", 0)
    winding_capacity_low: u.JoulePerKelvin = shown("winding capacity, low end", "J/K", 0)
    winding_capacity_high: u.JoulePerKelvin = shown("winding capacity, high end", "J/K", 0)
    stator_capacity: u.JoulePerKelvin = shown("stator capacity", "J/K", 0)
    stator_capacity_low: u.JoulePerKelvin = shown("stator capacity, low end", "J/K", 0)
    stator_capacity_high: u.JoulePerKelvin = shown("stator capacity, high end", "J/K", 0)
    housing_capacity: u.JoulePerKelvin = shown("housing capacity", "J/K", 0)
    housing_capacity_low: u.JoulePerKelvin = shown("housing capacity, low end", "J/K", 0)
    housing_capacity_high: u.JoulePerKelvin = shown("housing capacity, high end", "J/K", 0)
    winding_to_stator: u.WattPerKelvin = shown("winding to stator", "W/K", 2)
    winding_to_stator_low: u.WattPerKelvin = shown("winding to stator, low end", "W/K", 2)
    winding_to_stator_high: u.WattPerKelvin = shown("winding to stator, high end", "W/K", 2)
    stator_to_housing: u.WattPerKelvin = shown("stator to housing", "W/K", 2)
    stator_to_housing_low: u.WattPerKelvin = shown("stator to housing, low end", "W/K", 2)
    stator_to_housing_high: u.WattPerKelvin = shown("stator to housing, high end", "W/K", 2)
    housing_factor: u.Ratio = shown("housing to air over what is computed", "", 3)
    housing_factor_low: u.Ratio = shown("housing to air over what is computed, low end", "", 3)
    housing_factor_high: u.Ratio = shown("housing to air over what is computed, high end", "", 3)
    computed_conductance: u.WattPerKelvin = shown("housing to air as computed, 30 K over the air", "W/K", 2)
    housing_conductance: u.WattPerKelvin = shown("housing to air as found, 30 K over the air", "W/K", 2)
    line_resistance: u.Ohm = shown("resistance between the leads at 20 °C", "mohm", 2)
    slowest: u.Second = shown("slowest time constant of the network", "min")
    tied: str = shown("tied together (correlation)")
    not_told: str = shown("not told by these sensors")
    housing_means: str = shown("what the factor means")
    misfit: u.Number = shown("mean square of what is left, over the noise", "", 2)
    left_winding: u.KelvinRise = shown("left of the winding, standard deviation", "K", 2)
    left_housing: u.KelvinRise = shown("left of the housing, standard deviation", "K", 2)
    hottest: u.Kelvin = shown("hottest reading of the winding", "°C", 0)
    winding_limit: u.Kelvin = shown("limit of the winding in the mean", "°C", 0)
    time: u.Second = shown("time", "min", 2)
    winding: u.Kelvin = shown("winding by resistance", "°C")
    winding_predicted: u.Kelvin = shown("winding by the network", "°C")
    winding_doubt: u.KelvinRise = shown("half width of its band", "K")
    housing: u.Kelvin = shown("housing", "°C")
    housing_predicted: u.Kelvin = shown("housing by the network", "°C")
    housing_doubt: u.KelvinRise = shown("half width of the housing's band", "K")
    used: np.ndarray = field(repr=False, kw_only=True)
    fit: network_fit.NetworkFit = field(repr=False, kw_only=True)

    def held(self, sensor: str = "winding") -> float:
        """Share of the readings outside the fit that lie in the band, in which 95 % should lie."""
        fit = self.fit
        half = network_fit.INTERVAL * np.hypot(fit.error_of_prediction[sensor], fit.noise[sensor])
        away = np.abs(fit.measured[sensor] - fit.predicted[sensor])[~self.used]
        told = np.isfinite(away)
        if not told.any():
            raise ValueError(f"run {self.run!r} has no reading of the {sensor} outside the fit: fit less of it")
        return float(np.mean(away[told] <= half[~self.used][told]))


def _share(measured: Measured, values: np.ndarray) -> float:
    """What all readings of an instrument may be off together, as a share of the greatest of them."""
    greatest = np.abs(values).max()
    return float(measured.common.deviation(greatest) / greatest) if greatest else 0.0


def readings(run: Run) -> network_fit.Readings:
    """The numbers of a heating run as the fit takes them."""
    if run.kind != "heating":
        raise ValueError(f"run {run.name!r} is a run of kind {run.kind!r}: the thermal network needs a heating run")
    current, voltage = run["direct_current"], run["direct_voltage"]
    time = run.values("time")

    def series(name: str) -> np.ndarray:
        return np.broadcast_to(run.values(name), time.shape)

    sensors = {
        name: network_fit.Sensor(series(quantity), np.max(run[quantity].each.deviation(0.0)), run[quantity].common.fixed)
        for name, quantity in SENSORS.items()
        if quantity in run
    }
    amperes, volts = series("direct_current"), series("direct_voltage")
    _alike_at_start(run.name, sensors)
    return network_fit.Readings(
        time=time,
        current=amperes,
        voltage=volts,
        current_noise=current.each.deviation(amperes),
        voltage_noise=voltage.each.deviation(volts),
        power_scale=float(np.hypot(_share(current, amperes), _share(voltage, volts))),
        sensors=sensors,
    )


def _alike_at_start(name: str, sensors: Mapping[str, network_fit.Sensor]) -> None:
    """Refuse a run that does not begin with one temperature all over: columns are swapped, or the motor was still warm."""
    air = sensors["air"]
    for place, one in sensors.items():
        apart = float(np.median(one.values[:5]) - np.median(air.values[:5]))
        if abs(apart) > max(APART, 5 * np.hypot(one.offset, air.offset)):
            raise ValueError(
                f"run {name!r} must begin with the motor at the temperature of the air all over: {SENSORS[place]} begins {apart:+.1f} K "
                "from air_temperature; let it stand for a night, or look whether columns are swapped"
            )


def setup(build: Build, run: Run) -> network_fit.Setup:
    """What build and run tell of the network beforehand: the share of the winding that is heated, and all computed paths.

    Raises ValueError for a build without a motor.
    """
    machine = build.motor
    if machine is None:
        raise ValueError(f"build {build.name!r} has no motor: there is no thermal network to be found")
    phases = run.values("heated_phases")
    if not run["heated_phases"].constant or phases not in (2, 3):
        raise ValueError(f"run {run.name!r}: heated_phases must be the constant 2 (two leads of a star) or 3 (all in a row), got {phases}")
    first = float(run.values("direct_voltage")[0] / run.values("direct_current")[0])
    stated = float(phases) * machine.phase_resistance
    if not 1 / STRANGE < first / stated < STRANGE:
        raise ValueError(
            f"run {run.name!r}: voltage over current is {first:.3g} ohm in the first reading, and the build states {stated:.3g} ohm for "
            f"{phases:g} phases in a row: are columns or units mistaken, or is there no current yet? A small one is needed from the start"
        )
    air_speed, rotation, air = (float(np.mean(run.values(name))) for name in ("air_speed", "rotation", "air_temperature"))

    def to_air(temperature: float, rise: np.ndarray | float) -> np.ndarray:
        size = machine.housing_diameter, machine.housing_width
        return heat.housing_conductance(air_speed, rotation, *size, temperature, machine.emissivity, temperature + np.maximum(rise, 1e-3))

    others = paths(build, rotation * build.wheel.radius, air)
    return network_fit.Setup(
        heated_share=float(phases) / 3,
        rises=RISES,
        to_air=to_air(air, RISES),
        air=air,
        per_air=float(to_air(air + 0.5, USUAL_RISE) / to_air(air - 0.5, USUAL_RISE) - 1),
        paths={ends: value for ends, value in others.items() if ends not in LOOKED_FOR},
        magnet_capacity=machine.magnet_capacity,
    )


def study(build: Build, run: Run, until: u.Second | None = None, before: HeatBench | None = None) -> HeatBench:
    """Find the thermal network of the motor on the bench.

    The fit begins with the numbers of the build.  Readings after ``until`` stay
    outside and are predicted.  With the result of another run ``before``, of
    the same motor and instruments, a run is predicted from a few readings:
    ``until`` then ends the time before the heating.
    """
    seen, bench = readings(run), setup(build, run)
    used = np.ones(len(seen.time), bool) if until is None else seen.time <= until
    guess = [*(getattr(build.motor, name) for name in FITTED), 1.0]
    fit = network_fit.identify(seen, bench, guess, used, None if before is None else before.fit)
    ends: dict[str, float] = {}
    for name in network_fit.NETWORK:
        low, high = fit.interval(name)
        ends |= {name: getattr(fit, name), f"{name}_low": low, f"{name}_high": high}
    computed = float(np.interp(USUAL_RISE, bench.rises, bench.to_air))
    left = {name: fit.measured[name][used] - fit.predicted[name][used] for name in ("winding", "housing")}
    band = {name: network_fit.INTERVAL * np.hypot(fit.error_of_prediction[name], fit.noise[name]) for name in left}
    return HeatBench(
        run=run.name,
        sensors=", ".join(["winding by resistance", *seen.sensors]),
        readings=fit.count,
        **ends,
        computed_conductance=computed,
        housing_conductance=computed * fit.housing_factor,
        line_resistance=fit.resistance,
        slowest=_slowest(build, bench, fit, computed),
        tied=_tied(fit),
        not_told=_not_told(fit, seen),
        housing_means=_meaning(fit),
        misfit=fit.misfit,
        left_winding=float(np.nanstd(left["winding"])),
        left_housing=float(np.std(left["housing"])),
        hottest=float(np.nanmax(fit.measured["winding"])),
        winding_limit=heat.mean_winding_limit(build.motor.insulation_class) + 273.15,
        time=seen.time,
        winding=fit.measured["winding"],
        winding_predicted=fit.predicted["winding"],
        winding_doubt=band["winding"],
        housing=fit.measured["housing"],
        housing_predicted=fit.predicted["housing"],
        housing_doubt=band["housing"],
        used=used,
        fit=fit,
    )


def _slowest(build: Build, bench: network_fit.Setup, fit: network_fit.NetworkFit, computed: float) -> float:
    """Longest time constant of the network with constant losses and the conductance to the air at its usual rise."""
    found = {("winding", "stator"): fit.winding_to_stator, ("stator", "housing"): fit.stator_to_housing}
    ring = () if bench.magnet_capacity is None else (bench.magnet_capacity,)
    capacity = np.array([fit.winding_capacity, fit.stator_capacity, *ring, fit.housing_capacity])
    links = matrix(build, {**bench.paths, **found, ("housing", "air"): computed * fit.housing_factor})
    root = np.sqrt(capacity)
    return float(1 / np.linalg.eigvalsh(heat.balance(links) / root[:, None] / root)[0])


def _tied(fit: network_fit.NetworkFit) -> str:
    """Pairs that the run tells together better than apart."""
    names = network_fit.NETWORK
    pairs = [(i, j) for i in range(len(names)) for j in range(i) if abs(fit.correlation[i, j]) >= TIED]
    return "; ".join(f"{NAMES[names[j]]} and {NAMES[names[i]]} ({fit.correlation[i, j]:+.2f})" for i, j in pairs) or "no two"


def _not_told(fit: network_fit.NetworkFit, seen: network_fit.Readings) -> str:
    """What stays open, in words."""
    loose = [NAMES[name] for name, error in zip(network_fit.NETWORK, fit.error, strict=True) if error > LOOSE]
    said = [f"{' and '.join(loose)} (wider than a factor of 2)"] if loose else []
    if "stator" not in seen.sensors:
        said.append("stator capacity other than by the shape of the winding's curve")
    if "magnets" not in seen.sensors:
        said.append("magnets apart from the housing")
    said.append("an error of the power from all six together")
    return "; ".join(said)


def _meaning(fit: network_fit.NetworkFit) -> str:
    """What the factor on the housing's conductance says."""
    low, high = fit.interval("housing_factor")
    if low <= 1 <= high:
        return "the bench does not contradict the formula"
    share = 100 * abs(fit.housing_factor - 1)
    which = "more" if fit.housing_factor > 1 else "less"
    return f"{share:.0f} % {which} heat leaves than computed: stand, cables and shape of the housing count too, at this air speed alone"


def fitted_build(build: Build, found: HeatBench) -> Build:
    """The build with the network of the bench, each number with its doubt, and a note where it comes from.

    The factor on the conductance to the air stays out: it holds on the bench,
    and on the road the air is another.  ``save_build`` writes the variant to a
    new file and never over another one unasked.
    """
    doubts = dict(zip(network_fit.NETWORK, found.fit.error, strict=True))
    changes = {}
    for name in FITTED:
        kind, unit = ("thermal capacity", "J/K") if name.endswith("capacity") else ("thermal conductance", "W/K")
        value = getattr(found, name)
        changes[f"motor.{name}"] = write_spread(Spread("normal", (float(f"{value:.5g}"), float(f"{value * doubts[name]:.2g}"))), kind, unit)
    said = f"thermal capacities and conductances from winding to housing: heating run {found.run!r}, mean and standard deviation"
    changes["motor.source"] = f"{build.motor.source}; {said}" if build.motor.source else said
    return replace(build, changes)


def by_resistance(run: Run, cold_temperature: u.Kelvin) -> np.ndarray:
    """The hand calculation: winding temperature of each reading, from its resistance over that of the first one."""
    seen = readings(run)
    ohm = seen.voltage / seen.current
    return motor.temperature_by_resistance(ohm[0], ohm, cold_temperature - 273.15) + 273.15


def two_readings(found: HeatBench, begin: u.Second, after: u.Second) -> tuple[u.Second, u.KelvinRise]:
    """The hand calculation for one body: time constant and last rise of the housing from its rises after a time and after twice that."""
    start, first, second = np.interp([begin, begin + after, begin + 2 * after], found.time, found.housing)
    constant = heat.reading_time_constant(first - start, second - start, after)
    return constant, (first - start) / -np.expm1(-after / constant)
