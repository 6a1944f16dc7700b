"""Invented pages of known motors: all that could be printed, with noise, and with one convention mixed up."""

import dataclasses
import math

from unikit.formulas import datasheet as printed
from unikit.formulas import drive, motor
from unikit.inputs import Datasheet, Motor, NoLoad, Rated, Spread, Stall, load_build
from unikit.studies.estimates import BANDS, value_of

RPM = math.pi / 30
TIGHT = 0.01
BUILD = load_build("data/builds/harbour_commuter.toml")


def full(machine: Motor, band: float | None = TIGHT, **changes) -> Datasheet:
    """All that a datasheet could print about a known motor, in conventions that agree."""
    constant, phase = machine.torque_constant_peak, machine.phase_resistance
    rotation = 20.0
    drag = float(motor.iron_drag(rotation, machine.hysteresis_torque, machine.eddy_drag))
    current = drag / constant
    volts = math.sqrt(3) * (phase * current + constant * rotation / 1.5)
    bus = drive.bus_power(drag, rotation, current, phase) / volts
    torque, speed = 8 * machine.mass / 4.6, 15.0
    load = (torque + drag) / constant
    power = torque * speed
    made = Datasheet(
        format=1,
        name="known",
        pole_pairs=machine.pole_pairs,
        speed_constant=math.sqrt(3) / 2 / constant,
        speed_constant_per="peak line to line",
        torque_constant=constant,
        torque_constant_per="peak",
        motor_constant=constant / math.sqrt(1.5 * phase),
        resistance=2 * phase,
        resistance_of="line",
        resistance_temperature=machine.reference_temperature,
        inductance=2 * machine.quadrature_inductance,
        inductance_of="line",
        no_load=NoLoad(voltage=volts, current=bus, speed=rotation),
        rated=Rated(
            torque=torque,
            speed=speed,
            current=load / math.sqrt(2),
            current_in="rms",
            power=power,
            efficiency=power / (power + motor.copper_loss(load, phase) + drag * speed + 5.0),
        ),
        stall=Stall(torque=3 * torque, current=3 * torque / constant, current_in="peak"),
        mass=machine.mass,
        outer_diameter=machine.housing_diameter,
        width=machine.housing_width,
        insulation_class=machine.insulation_class,
        magnet_limit=machine.magnet_limit,
    )
    return banded(changed(made, changes), band)


def banded(sheet: Datasheet, band: float | None) -> Datasheet:
    """The same with one tolerance on every number."""
    if band is None:
        return sheet
    spreads = {path: Spread("normal", (value, band * value)) for path in BANDS if (value := value_of(sheet, path)) is not None}
    return dataclasses.replace(sheet, spreads=spreads)


def changed(sheet: Datasheet, changes: dict) -> Datasheet:
    """Some fields changed, by dotted path with __ for the dot of a table; the tolerances have to be set anew."""
    sheet = dataclasses.replace(sheet, spreads={})
    for name, value in changes.items():
        table, _, field = name.partition("__")
        sheet = dataclasses.replace(
            sheet, **({table: dataclasses.replace(getattr(sheet, table), **{field: value})} if field else {name: value})
        )
    return sheet


def noisy(sheet: Datasheet, generator) -> Datasheet:
    """Every printed number off by chance, with the band that is assumed for it as two standard deviations."""
    changes = {}
    for path, band in BANDS.items():
        table, _, field = path.rpartition(".")
        if path != "rated.efficiency" and (value := value_of(sheet, path)) is not None:
            changes[f"{table}__{field}" if table else path] = value * math.exp(generator.normal(0, band / 2))
    return changed(sheet, changes)


KNOWN = full(BUILD.motor)
MIX_UPS = [
    (f"volt {word}", {"speed_constant": KNOWN.speed_constant * factor}, f"speed_constant is per volt of {word}, not peak line to line")
    for word, factor in printed.VOLTS.items()
    if factor != 1
]
MIX_UPS += [
    (
        f"ampere {word}",
        {"torque_constant": KNOWN.torque_constant * factor / motor.CONVENTIONS["peak"]},
        f"torque_constant is in the convention {word!r}, not 'peak'",
    )
    for word, factor in motor.CONVENTIONS.items()
    if word != "peak"
]
MIX_UPS += [
    (
        f"rated ampere {word}",
        {"rated__current": KNOWN.rated.current * motor.CONVENTIONS["rms"] / factor},
        f"rated.current is in the convention {word!r}, not 'rms'",
    )
    for word, factor in motor.CONVENTIONS.items()
    if word != "rms"
]
MIX_UPS += [
    ("stall rms", {"stall__current": KNOWN.stall.current / math.sqrt(2)}, "stall.current is in the convention 'rms', not 'peak'"),
    ("line for phase", {"resistance_of": "star phase"}, "resistance is of 'line', not 'star phase'"),
    ("phase for line", {"resistance": KNOWN.resistance / 2}, "resistance is of 'star phase', not 'line'"),
    ("delta", {"resistance": KNOWN.resistance * 1.5}, "resistance is of 'delta phase', not 'line'"),
    ("three halves", {"torque_constant": KNOWN.torque_constant / 1.5}, "back-EMF of one phase in V·s/rad (a factor of 3/2)"),
    ("two thirds", {"torque_constant": KNOWN.torque_constant * 1.5}, "counts 3/2 twice (a factor of 2/3)"),
    ("branch of a delta", {"torque_constant": KNOWN.torque_constant * math.sqrt(3)}, "in one branch of a delta (a factor of √3)"),
    (
        "star against delta",
        {"torque_constant": KNOWN.torque_constant / math.sqrt(3)},
        "that of the coils in delta and the rest that of a star",
    ),
    (
        "rpm per volt",
        {"speed_constant": KNOWN.speed_constant / RPM},
        "speed_constant is in rpm per volt, not rad/s per volt (a factor of 60/2π)",
    ),
    (
        "rad/s per volt",
        {"speed_constant": KNOWN.speed_constant * RPM},
        "speed_constant is in rad/s per volt, not rpm per volt (a factor of 60/2π)",
    ),
    ("one over", {"speed_constant": 1 / KNOWN.torque_constant}, "one over the torque constant per ampere of phase peak (a factor of √3/2)"),
    ("electrical turns", {"speed_constant": KNOWN.speed_constant * 23}, "speed_constant counts electrical turns"),
    (
        "rms supply",
        {"no_load__voltage": KNOWN.no_load.voltage / math.sqrt(2)},
        "no_load.voltage is the rms between two leads (a factor of √2)",
    ),
    ("six step", {"no_load__speed": KNOWN.no_load.speed * 2 / math.pi * math.sqrt(3)}, "the bridge of the no-load run drives six step"),
    ("sine triangle", {"no_load__speed": KNOWN.no_load.speed * math.sqrt(3) / 2}, "modulates sine against triangle (a factor of √3/2)"),
    ("run in delta", {"no_load__speed": KNOWN.no_load.speed * math.sqrt(3)}, "the no-load run is of the coils in delta"),
    ("rated rpm", {"rated__speed": KNOWN.rated.speed * RPM}, "rated.speed is in rad/s, not rpm (a factor of 60/2π)"),
    ("rated electrical", {"rated__speed": KNOWN.rated.speed * 23}, "rated.speed counts electrical turns"),
    ("electric power", {"rated__power": KNOWN.rated.power / KNOWN.rated.efficiency}, "rated.power is electric power, not mechanical"),
    ("no three halves", {"motor_constant": KNOWN.motor_constant * math.sqrt(1.5)}, "motor_constant leaves out the 3/2 of three phases"),
]
