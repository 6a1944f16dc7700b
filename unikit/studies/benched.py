"""A bench that never was: a known motor is measured with instruments of stated errors, and the record is written.

``python -m unikit.studies.benched`` writes the example record of ``data/bench``.
The truth is known here, which no real bench can offer: whatever reads records
is judged by it.  Motor, instruments and scenario are invented.
"""

from __future__ import annotations

import sys
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from .. import units
from ..formulas import magnetics, motor
from ..inputs import Build, load_build, replace
from ..inputs.bench import QUANTITIES, Bench, Measured, make_run
from ..inputs.columns import Declared
from ..inputs.instruments import EXACT, Accuracy, read_accuracy
from . import bench_files

SEED = 21  # of the example record
KELVIN = 273.15

# The motor on the bench is not the one that the build file believes in: what a reader of the record should find.
HIDDEN = {
    "motor.torque_constant_peak": 0.912,
    "motor.phase_resistance": 0.0918,
    "motor.hysteresis_torque": 0.58,
    "motor.eddy_drag": 0.0226,
    "motor.saturation_current": 74.0,
    "motor.magnet_temperature_coefficient": -0.00105,
}


@dataclass(frozen=True)
class Instrument:
    """What is declared of an instrument: its unit and digits, scatter of a reading, what all readings share, its range."""

    unit: str
    digits: int
    uncertainty: str
    common: str
    range: str

    def said(self, name: str, column: str) -> dict[str, str]:
        """What a record says of a column that was read with it."""
        said = {"column": column, "unit": self.unit, "uncertainty": self.uncertainty, "common_uncertainty": self.common}
        return said | {"range": self.range, "instrument": name}


INSTRUMENTS = {
    "ohmmeter": Instrument("mohm", 3, "0.1 % + 0.1 mohm", "0.3 %", "0 mohm to 2000 mohm"),
    "winding probe": Instrument("°C", 2, "0.3 K", "0.3 K", "-40 °C to 180 °C"),
    "magnet probe": Instrument("°C", 2, "0.4 K", "0.5 K", "-40 °C to 180 °C"),
    "tachometer": Instrument("rpm", 2, "0.3 rpm", "0.05 %", "0 rpm to 600 rpm"),
    "voltmeter": Instrument("V", 3, "0.2 % + 10 mV", "0.3 %", "0 V to 60 V"),
    "torque meter": Instrument("N*m", 4, "0.5 % + 0.01 N*m", "0.4 % + 0.01 N*m", "-20 N*m to 20 N*m"),
    "bus voltmeter": Instrument("V", 3, "0.1 % + 10 mV", "0.2 %", "0 V to 100 V"),
    "bus ammeter": Instrument("A", 4, "0.5 % + 3 mA", "0.5 % + 4 mA", "-30 A to 30 A"),
    "phase ammeter": Instrument("A", 4, "0.4 % + 5 mA", "0.5 %", "0 A to 100 A"),
    "current probe": Instrument("A", 3, "0.3 % + 30 mA", "0.5 %", "0 A to 150 A"),
    "force gauge": Instrument("N", 2, "0.2 % + 0.4 N", "0.2 % + 0.2 N", "-500 N to 500 N"),
}
# Numbers that one value stands for in a run: unit, digits, true value in it, standard deviation.
CONSTANTS = {
    "lever_arm": ("mm", 2, 400.0, "0.8 mm"),
    "standby_power": ("W", 3, 6.0, "0.2 W"),
    "bridge_resistance": ("mohm", 3, 6.0, "0.5 mohm"),
}
# Runs: kind, what each column is read with, and what stands over it.
RUNS = {
    "winding": ("resistance", {"line_resistance": ("ohmmeter", "R_line"), "winding_temperature": ("winding probe", "T_winding")}),
    "spun_cold": (
        "spun",
        {
            "rotation": ("tachometer", "speed"),
            "line_voltage_rms": ("voltmeter", "U_line_rms"),
            "drive_torque": ("torque meter", "torque"),
            "magnet_temperature": ("magnet probe", "T_magnet"),
        },
    ),
    "spun_warm": (
        "spun",
        {
            "rotation": ("tachometer", "speed"),
            "line_voltage_rms": ("voltmeter", "U_line_rms"),
            "magnet_temperature": ("magnet probe", "T_magnet"),
        },
    ),
    "own_power": (
        "no load",
        {
            "rotation": ("tachometer", "speed"),
            "direct_voltage": ("bus voltmeter", "U_bus"),
            "direct_current": ("bus ammeter", "I_bus"),
            "winding_temperature": ("winding probe", "T_winding"),
            "magnet_temperature": ("magnet probe", "T_magnet"),
        },
    ),
    "own_power_phase": (
        "no load",
        {
            "rotation": ("tachometer", "speed"),
            "phase_current_rms": ("phase ammeter", "I_phase_rms"),
            "magnet_temperature": ("magnet probe", "T_magnet"),
        },
    ),
    "held": (
        "stall",
        {
            "phase_current_peak": ("current probe", "I_phase_peak"),
            "force": ("force gauge", "force"),
            "magnet_temperature": ("magnet probe", "T_magnet"),
        },
    ),
}
CONSTANTS_OF = {"own_power": ("standby_power", "bridge_resistance"), "held": ("lever_arm",)}


def hidden(build: Build) -> Build:
    """The build with the motor that is really on the bench."""
    return replace(build, HIDDEN)


def _accuracy(text: str, kind: str) -> Accuracy:
    declared = Declared("")
    found = read_accuracy(text, kind, "", declared, True)
    declared.done()
    return found


def _states(build: Build, lever_zero: np.ndarray) -> dict[str, dict[str, np.ndarray]]:
    """True values of each run; numbers of the scenario are invented."""
    machine = build.motor
    reference = machine.reference_temperature - KELVIN

    def constant(celsius: np.ndarray) -> np.ndarray:
        return motor.magnet_at(machine.torque_constant_peak, celsius, reference, machine.magnet_temperature_coefficient)

    def drag(rotation: np.ndarray) -> np.ndarray:
        return motor.iron_drag(rotation, machine.hysteresis_torque, machine.eddy_drag)

    def spun(rotation: np.ndarray, celsius: np.ndarray) -> dict[str, np.ndarray]:
        voltage = constant(celsius) * rotation / motor.torque_constant_by_spinning(1.0, 1.0)
        return {
            "rotation": rotation,
            "line_voltage_rms": voltage,
            "drive_torque": drag(rotation),
            "magnet_temperature": celsius + KELVIN,
        }

    def powered(rotation: np.ndarray, winding: np.ndarray, magnets: np.ndarray) -> dict[str, np.ndarray]:
        torque = drag(rotation)
        current = magnetics.current_when_saturated(torque, constant(magnets), machine.saturation_current)
        bridge, standby = (_si(name) for name in ("bridge_resistance", "standby_power"))
        resistance = motor.resistance_at(machine.phase_resistance, winding, reference) + bridge
        voltage = np.linspace(50.2, 49.8, len(rotation))
        return {
            "rotation": rotation,
            "direct_voltage": voltage,
            "direct_current": (standby + motor.copper_loss(current, resistance) + rotation * torque) / voltage,
            "phase_current_rms": current / np.sqrt(2),
            "winding_temperature": winding + KELVIN,
            "magnet_temperature": magnets + KELVIN,
        }

    winding = np.linspace(19.0, 79.0, 13)
    held = np.linspace(4.0, 60.0, 15)
    warming = np.linspace(24.0, 31.0, len(held))
    torque = magnetics.saturated_torque(held, constant(warming), machine.saturation_current) + lever_zero[..., None]
    fast, slow = np.linspace(4.0, 30.0, 12), np.linspace(5.0, 29.0, 10)
    return {
        "winding": {
            "line_resistance": 2 * motor.resistance_at(machine.phase_resistance, winding, reference),
            "winding_temperature": winding + KELVIN,
        },
        "spun_cold": spun(fast, np.linspace(21.0, 23.5, len(fast))),
        "spun_warm": spun(fast, np.linspace(66.0, 61.0, len(fast))),
        "own_power": powered(slow, np.linspace(25.0, 29.0, len(slow)), np.linspace(24.0, 26.0, len(slow))),
        "own_power_phase": powered(slow, np.linspace(29.0, 31.0, len(slow)), np.linspace(26.0, 28.0, len(slow))),
        "held": {
            "phase_current_peak": held,
            "force": torque / _si("lever_arm"),
            "magnet_temperature": warming + KELVIN,
        },
    }


def _si(constant: str) -> float:
    unit, _, value, _ = CONSTANTS[constant]
    return float(units.convert(value, QUANTITIES[constant].kind, unit))


def benched(build: Build, seed: int, records: int | None = None) -> Bench:
    """Put a build's motor on the bench; many records at once have their values as (record, row).

    What the instruments show is rounded to the digits that the files have.
    """
    stream = np.random.default_rng(seed)
    sets = () if records is None else (records,)
    most = build.motor.hysteresis_torque
    # the rotor rests on the lever somewhere within what cogging and hysteresis hold
    states = _states(build, stream.uniform(-most, most, sets))
    errors: dict[str, tuple[np.ndarray, np.ndarray]] = {}
    runs = []
    for name, (kind, columns) in RUNS.items():
        quantities = {}
        for quantity, (tool, _) in columns.items():
            one, unit_kind = INSTRUMENTS[tool], QUANTITIES[quantity].kind
            each, common = _accuracy(one.uncertainty, unit_kind), _accuracy(one.common, unit_kind)
            if tool not in errors:
                errors[tool] = common.share * stream.normal(size=sets), common.fixed * stream.normal(size=sets)
            scale, zero = (part[..., None] for part in errors[tool])
            true = np.broadcast_to(states[name][quantity], (*sets, np.shape(states[name][quantity])[-1]))
            read = (1 + scale) * true + zero + each.deviation(true) * stream.normal(size=true.shape)
            quantities[quantity] = Measured(_rounded(read, quantity, one.unit, one.digits), each, common, tool)
        for quantity in CONSTANTS_OF.get(name, ()):
            unit, digits, _, deviation = CONSTANTS[quantity]
            common = _accuracy(deviation, QUANTITIES[quantity].kind)
            # the stated number misses the true one: with many records the truth cannot move, so the number is one for each
            stated = _si(quantity) + common.fixed * stream.normal(size=sets)
            quantities[quantity] = Measured(_rounded(stated, quantity, unit, digits), EXACT, common, f"{name}.{quantity}", True)
        runs.append(make_run(name, kind, quantities))
    return Bench("Harbour hub on the bench", "computed by python -m unikit.studies.benched; invented", tuple(runs))


def _rounded(values: np.ndarray, quantity: str, unit: str, digits: int) -> np.ndarray:
    rounded = np.round(bench_files.shown(np.asarray(values), quantity, unit), digits)
    return np.asarray(units.convert(rounded, QUANTITIES[quantity].kind, unit), float)


def files(bench: Bench) -> dict[str, str]:
    """The texts of a record's files by name, as :func:`load_bench` reads them."""
    head = [
        "# How to read the example record. Every number in it is computed: invented motor, instruments and errors.",
        "format = 1",
        f'name = "{bench.name}"',
        f'source = "{bench.source}"',
    ]
    texts: dict[str, str] = {}
    for run in bench.runs:
        tools = RUNS[run.name][1]
        columns = {quantity: INSTRUMENTS[tool].said(tool, label) for quantity, (tool, label) in tools.items()}
        constants = {}
        for quantity in CONSTANTS_OF.get(run.name, ()):
            unit, digits, _, deviation = CONSTANTS[quantity]
            value = bench_files.shown(run.values(quantity), quantity, unit)
            constants[quantity] = {"value": f"{value:.{digits}f} {unit}", "uncertainty": deviation}
        head += bench_files.declared(run, columns, constants, apart=True)
        digits_of = {quantity: INSTRUMENTS[tool].digits for quantity, (tool, _) in tools.items()}
        texts[f"{run.name}.csv"] = bench_files.table(run, columns, digits_of)
    return {"harbour_hub.toml": "\n".join(head) + "\n"} | texts


def main(arguments: Sequence[str] | None = None) -> int:
    """Write the example record into a folder, by default ``data/bench``."""
    build = load_build(Path("data/builds/harbour_commuter.toml"))
    return bench_files.write_examples(files(benched(hidden(build), SEED)), arguments)


if __name__ == "__main__":
    sys.exit(main())
