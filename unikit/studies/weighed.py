"""Weights that never hung: a known torque sensor is loaded with instruments of stated errors, and the record is written.

``python -m unikit.studies.weighed`` writes the example record of weights into
``data/bench``.  The truth is known here, which no real crank can offer:
whatever reads such records is judged by it.  Sensor, instruments and plan are
invented.
"""

from __future__ import annotations

import sys
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from .. import units
from ..formulas import calibration
from ..inputs import Build, replace, weights
from ..inputs.bench import QUANTITIES, Bench, Measured, make_run
from ..inputs.columns import Declared
from ..inputs.instruments import EXACT, Accuracy, read_accuracy
from . import bench_files

SEED = 33  # of the example record
KELVIN = 273.15


@dataclass(frozen=True)
class Sensor:
    """The sensor on the crank: what a reader of the record should find, in SI."""

    offset: float = 1.6437
    gain: float = 0.01562
    hysteresis: float = 0.0058
    zero_drift: float = 0.0292
    gain_drift: float = -3.6e-4
    scatter: float = 0.06  # N*m, of a single reading: the sensor itself
    shift: float = 5e-4  # V, of the zero from one series to the next
    reference_temperature: float = 293.15


@dataclass(frozen=True)
class Instrument:
    """What a record says of a column: quantity, unit, digits, scatter, common error, range, instrument."""

    column: str
    unit: str
    digits: int
    uncertainty: str
    common: str
    range: str
    name: str

    def said(self) -> dict[str, str]:
        """The lines of the record."""
        said = {"column": self.column, "unit": self.unit, "uncertainty": self.uncertainty}
        if self.common:
            said["common_uncertainty"] = self.common
        return said | {"range": self.range, "instrument": self.name}


COLUMNS = {
    "hung_mass": Instrument("mass", "kg", 3, "0.04 %", "0.12 %", "0 kg to 60 kg", "mass set"),
    "crank_angle": Instrument("angle", "deg", 2, "0.15 deg", "0.3 deg", "-90 deg to 90 deg", "inclinometer"),
    "sensor_temperature": Instrument("T_sensor", "°C", 2, "0.2 K", "0.4 K", "-20 °C to 85 °C", "probe"),
    "sensor_output": Instrument("U_out", "V", 5, "0.3 mV", "0.05 % + 0.8 mV", "0 V to 3.3 V", "voltmeter"),
}
# Numbers that one value stands for: unit, digits, true value in it, standard deviation.
CONSTANTS = {
    "crank_length": ("mm", 2, 131.0, "0.4 mm"),
    "local_gravity": ("m/s^2", 4, 9.8128, "0.0004 m/s^2"),
    "zero_shift": ("mV", 1, 0.0, "0.5 mV"),
}
MASSES = np.array([0.0, 5.0, 10.0, 15.0, 20.0, 25.0, 30.0, 35.0, 40.0, 35.0, 30.0, 25.0, 20.0, 15.0, 10.0, 5.0, 0.0])  # kg
# Series: side, and the sensor's temperature in degrees Celsius at the first and the last reading.
SERIES = {
    "cold_forward_1": (weights.FORWARD, 16.8, 17.1),
    "cold_backward_1": (weights.BACKWARD, 17.2, 17.5),
    "cold_forward_2": (weights.FORWARD, 17.6, 17.8),
    "cold_backward_2": (weights.BACKWARD, 17.8, 18.0),
    "warm_forward_1": (weights.FORWARD, 42.4, 40.6),
    "warm_backward_1": (weights.BACKWARD, 43.1, 41.0),
    "warm_forward_2": (weights.FORWARD, 42.7, 40.9),
    "warm_backward_2": (weights.BACKWARD, 43.0, 41.2),
}
# The electronics behind the sensor, as a build file says them before anything was weighed.
CHAIN = {
    "element": "rated",
    "rated_torque": "60 N*m",
    "rated_output": "1.25 mV/V",
    "excitation": "3.3 V",
    "amplifier_gain": 220,
    "rest_output": "1.65 V",
    "lowest_output": "0.05 V",
    "highest_output": "3.25 V",
    "zero_drift": "20 mN*m/K",
    "warming": "18 K",
    "converter_range": "3.3 V",
    "converter_bits": 12,
    "dead_band": "0.4 N*m",
    "input_low": "0.3 V",
    "input_high": "3 V",
    "torque_per_volt": "25 N*m/V",
    "source": "invented: a sensor as its page states it",
}
LEVEL, SINK = -0.4, 2.2  # degrees: the crank at rest, and what it gives way under the heaviest weight


def with_sensor(build: Build) -> Build:
    """A build with the electronics of the example, as believed before the weights."""
    return replace(build, {"sensor.chain": CHAIN})


def _accuracy(text: str, kind: str) -> Accuracy:
    declared = Declared("")
    found = read_accuracy(text, kind, "", declared, False)
    declared.done()
    return found


def _si(constant: str) -> float:
    unit, _, value, _ = CONSTANTS[constant]
    return float(units.convert(value, QUANTITIES[constant].kind, unit))


def _rounded(values: np.ndarray, quantity: str, unit: str, digits: int) -> np.ndarray:
    shown = np.round(bench_files.shown(np.asarray(values), quantity, unit), digits)
    return np.asarray(units.convert(shown, QUANTITIES[quantity].kind, unit), float)


def _true(sensor: Sensor, side: str, first: float, last: float, masses: np.ndarray) -> dict[str, np.ndarray]:
    """True values of a series, without the sensor's own scatter."""
    angle = np.radians(LEVEL - SINK * MASSES / MASSES.max())
    torque = calibration.hung_torque(masses, _si("local_gravity"), _si("crank_length"), angle)
    turn = weights.top(MASSES)
    way = np.where(np.arange(len(MASSES)) > turn, 1.0, -1.0)
    acting = torque + way * calibration.loop_half_width(torque, torque[..., turn, None], sensor.hysteresis)
    temperature = np.linspace(first, last, len(MASSES)) + KELVIN
    sign = 1.0 if side == weights.FORWARD else -1.0
    line = (sensor.offset, sensor.gain, sensor.zero_drift, sensor.gain_drift, sensor.reference_temperature)
    shown = calibration.output(sign * acting, temperature, *line)
    return {"crank_angle": angle, "sensor_temperature": temperature, "sensor_output": shown}


def weighed(seed: int, records: int | None = None, sensor: Sensor = Sensor(), series: Mapping[str, tuple] = SERIES) -> Bench:
    """Hang weights on a sensor; many records at once have their values as (record, row).

    What the instruments show is rounded to the digits that the files have.
    """
    stream = np.random.default_rng(seed)
    sets = () if records is None else (records,)
    common: dict[str, tuple[np.ndarray, np.ndarray]] = {}
    for quantity, one in COLUMNS.items():
        size = _accuracy(one.common, QUANTITIES[quantity].kind)
        common[quantity] = size.share * stream.normal(size=sets), size.fixed * stream.normal(size=sets)
    stated = {}
    for quantity, (unit, digits, _, deviation) in CONSTANTS.items():
        accuracy = Accuracy(0.0, _accuracy(deviation, QUANTITIES[quantity].kind).fixed)
        off = 0.0 if quantity == "zero_shift" else accuracy.fixed  # the shift is of each series, and stated as none
        value = _rounded(_si(quantity) + off * stream.normal(size=sets), quantity, unit, digits)
        stated[quantity] = Measured(value, EXACT, accuracy, quantity.replace("_", " "), True)
    runs = []
    label = COLUMNS["hung_mass"]
    each, shared = (_accuracy(text, "mass") for text in (label.uncertainty, label.common))
    nominal = np.broadcast_to(MASSES, (*sets, len(MASSES)))
    for name, (side, first, last) in series.items():
        # what is written is the label; what hangs differs from it, the whole set alike and each hanging by itself
        hung = (nominal - each.deviation(nominal) * stream.normal(size=nominal.shape)) / (1 + common["hung_mass"][0][..., None])
        true = _true(sensor, side, first, last, hung)
        own = sensor.gain * sensor.scatter * stream.normal(size=nominal.shape) + sensor.shift * stream.normal(size=sets)[..., None]
        true["sensor_output"] = true["sensor_output"] + own
        quantities = {"hung_mass": Measured(nominal, each, shared, label.name)}
        for quantity, values in true.items():
            one = COLUMNS[quantity]
            errors = [_accuracy(text, QUANTITIES[quantity].kind) for text in (one.uncertainty, one.common)]
            exact = np.broadcast_to(values, nominal.shape)
            scale, zero = (part[..., None] for part in common[quantity])
            read = (1 + scale) * exact + zero + errors[0].deviation(exact) * stream.normal(size=exact.shape)
            quantities[quantity] = Measured(_rounded(read, quantity, one.unit, one.digits), *errors, one.name)
        shift = {"zero_shift": Measured(stated["zero_shift"].values, EXACT, stated["zero_shift"].common, f"{name}.zero_shift", True)}
        count = {"reading": Measured(np.broadcast_to(np.arange(1.0, len(MASSES) + 1), nominal.shape), instrument=f"{name}.reading")}
        runs.append(make_run(name, weights.KIND, count | quantities | stated | shift, {"side": side, "loading": weights.UP_AND_DOWN}))
    return Bench("Weights on the harbour crank", "computed by python -m unikit.studies.weighed; invented", tuple(runs))


def files(bench: Bench) -> dict[str, str]:
    """The texts of a record's files by name, as :func:`load_bench` reads them."""
    head = [
        "# Weights on a crank. Every number is computed: invented sensor, instruments and errors.",
        "format = 1",
        f'name = "{bench.name}"',
        f'source = "{bench.source}"',
    ]
    texts: dict[str, str] = {}
    columns = {quantity: one.said() for quantity, one in COLUMNS.items()}
    digits = {quantity: one.digits for quantity, one in COLUMNS.items()}
    for run in bench.runs:
        constants = {}
        for quantity, (unit, places, _, deviation) in CONSTANTS.items():
            value = float(bench_files.shown(run.values(quantity), quantity, unit))
            constants[quantity] = {"value": f"{value:.{places}f} {unit}", "uncertainty": deviation}
        counted = {"reading": {"column": "reading", "unit": ""}}
        head += bench_files.declared(run, counted | columns, constants, apart=True)
        texts[f"{run.name}.csv"] = bench_files.table(run, counted | columns, {"reading": 0} | digits)
    return {"harbour_crank.toml": "\n".join(head) + "\n"} | texts


def main(arguments: Sequence[str] | None = None) -> int:
    """Write the example record into a folder, by default ``data/bench``."""
    return bench_files.write_examples(files(weighed(SEED)), arguments)


if __name__ == "__main__":
    sys.exit(main())
