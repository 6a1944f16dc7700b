"""The electric drive of a build in one state: charge, winding and magnet temperature."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache, reduce

import numpy as np

from ..formulas import drive as drives
from ..formulas import motor, pack, reach
from ..inputs import Build, Packs
from ..units import Values
from . import cells

ROOM = 293.15
FLUX_LEFT = 0.01  # share below which the straight line of the magnets is not followed: it would turn them round


_MACHINE = (
    "torque_constant_peak",
    "phase_resistance",
    "quadrature_inductance",
    "pole_pairs",
    "open_circuit_voltage",
    "pack_resistance",
    "bridge_resistance",
    "standby_power",
    "modulation",
    "direct_inductance",
    "saturation_current",
    "weakening_current",
)


@dataclass(frozen=True)
class Drive:
    """Numbers that the motor's formulas need, at one temperature and state of charge."""

    torque_constant_peak: Values
    phase_resistance: Values
    bridge_resistance: Values
    quadrature_inductance: Values
    pole_pairs: Values
    hysteresis_torque: Values
    eddy_drag: Values
    open_circuit_voltage: Values
    pack_resistance: Values
    phase_current_limit: Values
    battery_current_limit: Values
    charge_current_limit: Values
    standby_power: Values
    modulation: str
    torque_cap: Values
    derating: Values
    direct_inductance: Values | None = None
    saturation_current: Values = np.inf
    weakening_current: Values = 0.0
    electrical_frequency_limit: Values = np.inf
    draw_by: str | np.ndarray = "battery current"
    charge_by: str | np.ndarray = "charge current"

    @property
    def shape(self) -> tuple[int, ...]:
        """Shape of the numbers together; empty for one drive in one state."""
        return np.broadcast_shapes(*(np.shape(value) for value in vars(self).values()))

    def _machine(self) -> dict[str, Values]:
        """The arguments that limits and operating points share."""
        return {name: getattr(self, name) for name in _MACHINE}

    def limits(self, rotation: Values) -> reach.Limits:
        """Greatest and lowest motor torque at a wheel rotation, with what sets them.

        The rider's cap and the derating by temperature are applied last.
        """
        found = reach.torque_limits(
            rotation=rotation,
            phase_current_limit=self.phase_current_limit,
            battery_current_limit=self.battery_current_limit,
            charge_current_limit=self.charge_current_limit,
            electrical_frequency_limit=self.electrical_frequency_limit,
            **self._machine(),
        )
        found = found._replace(highest_by=self._named(found.highest_by), lowest_by=self._named(found.lowest_by))
        cap, word = self.torque_cap * self.derating, np.where(np.asarray(self.derating) < 1, "derating", "torque cap")
        return found._replace(
            highest=np.minimum(found.highest, cap),
            lowest=np.maximum(found.lowest, -cap),
            highest_by=np.where(found.highest > cap, word, found.highest_by),
            lowest_by=np.where(found.lowest < -cap, word, found.lowest_by),
        )

    def _named(self, by: np.ndarray) -> np.ndarray:
        """The pack's own reasons in the place of the currents that they limit."""
        return np.where(by == "battery current", self.draw_by, np.where(by == "charge current", self.charge_by, by))[()]

    def point(self, torque: Values, rotation: Values) -> reach.OperatingPoint:
        """Currents, voltages and losses of a torque; where the voltage is not enough for it the bridge is off."""
        found = reach.operating_point(torque, rotation, **self._machine())
        off = np.isnan(found.quadrature_current)
        if not np.any(off):
            return found
        idle = pack.current_at_power(self.open_circuit_voltage, self.pack_resistance, self.standby_power)
        bus = self.open_circuit_voltage - self.pack_resistance * idle
        own = drives.back_emf_amplitude(rotation, self.torque_constant_peak)
        rest = reach.OperatingPoint(0.0, 0.0, own, bus, idle, 0.0, 0.0, self.pack_resistance * idle**2)
        return reach.OperatingPoint(*(np.where(off, instead, part)[()] for part, instead in zip(found, rest, strict=True)))

    def drag(self, rotation: Values) -> Values:
        """Iron drag on the wheel, against its rotation."""
        return motor.iron_drag(rotation, self.hysteresis_torque, self.eddy_drag)

    def back_emf_rotation(self) -> Values:
        """Wheel rotation at which the back-EMF reaches the voltage limit of a resting pack."""
        return drives.no_load_speed(self.open_circuit_voltage, self.torque_constant_peak, "space vector")


@dataclass(frozen=True)
class Supply:
    """The packs of a build together at one state of charge."""

    open_circuit_voltage: Values
    resistance: Values
    discharge_limit: Values
    charge_limit: Values
    charge_by: str | np.ndarray


def supply(packs: Packs, state_of_charge: Values, lasting: Values | None = None) -> Supply:
    """Join the packs; current limits keep every cell between its lowest and its full voltage, and every pack within its charge current.

    ``lasting`` is the cells' temperature under a load that lasts: then all
    resistances count that the packs state, at this charge and temperature, and
    not the ohmic one alone.
    """
    if np.ndim(state_of_charge) == 0 and np.ndim(lasting) == 0:
        return _supply(packs, float(state_of_charge), None if lasting is None else float(lasting))
    return _join(packs, state_of_charge, lasting)


def _join(packs: Packs, state_of_charge: Values, lasting: Values | None) -> Supply:
    voltages, resistances, lowest, full = [], [], [], []
    for one in packs.pack:
        cell = pack.open_circuit_voltage(state_of_charge, one.curve_charge, one.curve_voltage)
        voltages.append(pack.string_voltage(cell, one.series))
        if lasting is None:
            resistances.append(pack.string_resistance(one.cell_resistance, one.series, one.parallel, one.wiring_resistance))
        else:
            resistances.append(cells.resistance(one, state_of_charge, lasting, np.inf))
        lowest.append(pack.string_voltage(one.lowest_cell_voltage, one.series))
        full.append(pack.string_voltage(one.curve_voltage[-1], one.series))
    charge = [one.charge_current_limit for one in packs.pack]
    each = list(zip(voltages, resistances, lowest, full, charge, strict=True))
    if packs.joined == "series":  # one current: the first pack at its end sets it, whatever the others have left
        voltage, resistance = sum(voltages), sum(resistances)
        drawn = reduce(np.minimum, [(rest - low) / inner for rest, inner, low, _, _ in each])
        filling = reduce(np.minimum, [(top - rest) / inner for rest, inner, _, top, _ in each])
        charging = reduce(np.minimum, charge)
    else:  # one voltage: a pack of low resistance takes more than its part of the current
        voltage, resistance = voltages[0], resistances[0]
        for other, other_resistance in zip(voltages[1:], resistances[1:], strict=True):
            voltage = pack.joined_voltage(voltage, resistance, other, other_resistance)
            resistance = pack.joined_resistance(resistance, other_resistance)
        drawn = (voltage - reduce(np.maximum, lowest)) / resistance
        filling = (reduce(np.minimum, full) - voltage) / resistance
        charging = (reduce(np.minimum, [rest + most * inner for rest, inner, _, _, most in each]) - voltage) / resistance
    return Supply(
        open_circuit_voltage=voltage,
        resistance=resistance,
        discharge_limit=np.maximum(drawn, 0.0),
        charge_limit=np.maximum(np.minimum(charging, filling), 0.0),
        charge_by=np.where(filling < charging, "full pack", "charge current of the packs")[()],
    )


# A review asks a dozen times for the same packs; they are compared by their values.
_supply = lru_cache(16)(_join)


def derating(build: Build, winding_temperature: Values) -> Values:
    """Share of the torque that the controller still gives at a winding temperature."""
    start, end = build.controller.derating_start, build.controller.derating_end
    return np.clip((end - np.asarray(winding_temperature, float)) / (end - start), 0.0, 1.0)


def drive(
    build: Build,
    state_of_charge: Values = 0.8,
    winding_temperature: Values = ROOM,
    magnet_temperature: Values = ROOM,
    lasting: Values | None = None,
) -> Drive | None:
    """The drive of a build in a state, or None for a build without a motor; ``lasting`` as for :func:`supply`.

    Raises ValueError where the packs cannot give even the standby power.
    """
    machine, controller = build.motor, build.controller
    if machine is None or controller is None or build.packs is None:
        return None
    source = supply(build.packs, state_of_charge, lasting)
    most = np.min(pack.greatest_power(source.open_circuit_voltage, source.resistance) - controller.standby_power)
    if most < 0:
        raise ValueError(f"the packs of build {build.name!r} lack {-most:.3g} W of the controller's standby power at this state of charge")
    reference = machine.reference_temperature - 273.15
    discharge, charge = np.asarray(source.discharge_limit), np.asarray(source.charge_limit)
    # What would lift the bus above the controller's rating is not fed back.
    rated = (controller.voltage_rating - source.open_circuit_voltage) / np.maximum(source.resistance, 1e-9)
    feeding = np.minimum(controller.charge_current_limit, np.minimum(charge, np.maximum(rated, 0.0)))
    constant = motor.magnet_at(
        machine.torque_constant_peak, np.asarray(magnet_temperature) - 273.15, reference, machine.magnet_temperature_coefficient
    )
    return Drive(
        torque_constant_peak=np.maximum(constant, FLUX_LEFT * machine.torque_constant_peak),
        phase_resistance=motor.resistance_at(machine.phase_resistance, np.asarray(winding_temperature) - 273.15, reference),
        bridge_resistance=controller.bridge_resistance,
        quadrature_inductance=machine.quadrature_inductance,
        pole_pairs=machine.pole_pairs,
        hysteresis_torque=machine.hysteresis_torque,
        eddy_drag=machine.eddy_drag,
        open_circuit_voltage=source.open_circuit_voltage,
        pack_resistance=source.resistance,
        phase_current_limit=controller.phase_current_limit,
        battery_current_limit=np.minimum(controller.battery_current_limit, discharge),
        charge_current_limit=feeding,
        standby_power=controller.standby_power,
        modulation=controller.modulation,
        torque_cap=build.assist.torque_cap if build.assist else np.inf,
        derating=derating(build, winding_temperature),
        direct_inductance=machine.direct_inductance,
        saturation_current=np.inf if machine.saturation_current is None else machine.saturation_current,
        weakening_current=0.0 if controller.weakening_current is None else controller.weakening_current,
        electrical_frequency_limit=np.inf if controller.electrical_frequency_limit is None else controller.electrical_frequency_limit,
        draw_by=np.where(discharge < controller.battery_current_limit, "lowest cell voltage", "battery current")[()],
        charge_by=np.select(
            [feeding >= controller.charge_current_limit, feeding >= charge], ["charge current", source.charge_by], "bus voltage"
        )[()],
    )
