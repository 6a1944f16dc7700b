"""The sensing chain: from torque at the crank through element, filter and converter to the torque that is commanded."""

from __future__ import annotations

import numpy as np

from .. import units as u
from .checks import not_negative, positive, within
from .converter import codes
from .registry import formula

# -- where it is measured ------------------------------------------------------------


@formula(
    equation=r"\frac{T_s}{T_c} = 1 - \frac{\eta}{G},\quad \text{without loss}\quad \frac{z_s}{z_s + z_r}",
    source="planetary_torques",
    sign="size; above 0 for a gear that steps up, 0 for one that turns as one piece",
    valid="sun fixed, cranks on the carrier, ring drives the wheel; steady, pedals driving, all losses of the gear held by the sun",
)
def reaction_share(gear_ratio: u.Ratio, gear_efficiency: u.Ratio = 1.0) -> u.Ratio:
    """Torque at the member that holds the gear still over the torque at the crank.

    Args:
        gear_ratio: wheel turns per crank turn, at least 1.
        gear_efficiency: power out over power in.

    >>> float(reaction_share(1.5).round(4)), float(reaction_share(1.5, 0.96).round(4))
    (0.3333, 0.36)
    """
    not_negative("gear_ratio - 1", gear_ratio - 1)
    within("gear_efficiency", gear_efficiency, 0.0, 1.0)
    return np.where(np.equal(gear_ratio, 1), 0.0, 1 - gear_efficiency / np.asarray(gear_ratio, float))[()]


# -- voltages ------------------------------------------------------------------------


@formula(
    equation=r"\frac{U_o}{U_i} = \frac{R_2'}{R_1 + R_2'},\quad R_2' = \frac{R_2 R_i}{R_2 + R_i}",
    source="bird_circuits",
    valid="a source without resistance of its own; R2 and Ri may be inf",
)
def loaded_divider(upper_resistance: u.Ohm, lower_resistance: u.Ohm, load_resistance: u.Ohm = np.inf) -> u.Ratio:
    """Output over input of a divider whose output is loaded.

    Args:
        upper_resistance: resistor between source and output.
        lower_resistance: resistor between output and ground; inf for none.
        load_resistance: resistance of what is connected to the output; inf for none.

    >>> round(54.6 * loaded_divider(100e3, 3.3e3), 5), round(54.6 * loaded_divider(100e3, 3.3e3, 100e3), 5)
    (1.74424, 1.69024)
    """
    not_negative("upper_resistance", upper_resistance)
    positive("lower_resistance", lower_resistance)
    positive("load_resistance", load_resistance)
    return 1 / (1 + upper_resistance * (1 / lower_resistance + 1 / load_resistance))


@formula(equation=r"f_c = \frac{1}{2\pi R C}", source="definition", valid="R is all resistors at the capacitor, side by side")
def filter_corner(resistance: u.Ohm, capacitance: u.Farad) -> u.Hertz:
    """Corner frequency of a resistor and a capacitor.

    Args:
        resistance: resistance through which the capacitor is charged.
        capacitance: its capacitance.

    >>> round(filter_corner(10e3, 100e-9), 3)
    159.155
    """
    positive("resistance", resistance)
    positive("capacitance", capacitance)
    return 1 / (2 * np.pi * resistance * capacitance)


@formula(equation=r"U_{LSB} = \frac{U_{FS}}{2^N}", source="frenzel")
def adc_step(full_scale: u.Volt, bits: u.Number) -> u.Volt:
    """One step of a converter from voltage to number.

    Args:
        full_scale: voltage at which it would be full.
        bits: its bits.

    >>> round(1e6 * adc_step(12.0, 14), 2)
    732.42
    """
    positive("full_scale", full_scale)
    return full_scale / codes(bits)


# -- torque --------------------------------------------------------------------------


@formula(equation=r"S = \frac{x}{T}\,U_e\,v\,d", source="definition", sign="rising with torque that drives")
def sensitivity(
    bridge_output: u.VoltPerVolt, torque: u.NewtonMetre, excitation: u.Volt, amplifier_gain: u.Ratio, divider: u.Ratio = 1.0
) -> u.VoltPerNewtonMetre:
    """Voltage at the converter per torque.

    Args:
        bridge_output: output of the bridge over its excitation at some torque.
        torque: that torque, such as 1 N*m.
        excitation: voltage across the bridge.
        amplifier_gain: output of the amplifier over that of the bridge.
        divider: voltage at the converter over output of the amplifier.

    >>> round(sensitivity(0.00106, 123.0, 3.3, 360.0), 6)
    0.010238
    """
    positive("torque", torque)
    positive("excitation", excitation)
    positive("amplifier_gain", amplifier_gain)
    within("divider", divider, 0.0, 1.0)
    return bridge_output / torque * excitation * amplifier_gain * divider


@formula(
    equation=r"k = S\,a\,c",
    source="definition",
    sign="motor torque that helps is positive",
    valid="between dead band and the first stage that saturates",
)
def assist_gain(
    sensor_volts_per_newton_metre: u.VoltPerNewtonMetre, controller_newton_metres_per_volt: u.NewtonMetrePerVolt, input_scale: u.Ratio
) -> u.Ratio:
    """Motor torque per torque at the crank that a chain gives.

    Args:
        sensor_volts_per_newton_metre: voltage at the converter per torque at the crank.
        controller_newton_metres_per_volt: commanded motor torque per volt of the scaled input.
        input_scale: factor that the controller puts on its input.

    >>> round(assist_gain(0.0102, 20.0, 5 / 3), 4)
    0.34
    """
    positive("controller_newton_metres_per_volt", controller_newton_metres_per_volt)
    not_negative("input_scale", input_scale)
    return sensor_volts_per_newton_metre * controller_newton_metres_per_volt * input_scale


@formula(equation=r"c = \frac{k}{S\,a}", source="definition")
def input_scale(
    assist_gain: u.Ratio, sensor_volts_per_newton_metre: u.VoltPerNewtonMetre, controller_newton_metres_per_volt: u.NewtonMetrePerVolt
) -> u.Ratio:
    """Factor on the controller's input that a wanted assist gain needs.

    Args:
        assist_gain: motor torque per torque at the crank that is wanted.
        sensor_volts_per_newton_metre: voltage at the converter per torque at the crank.
        controller_newton_metres_per_volt: commanded motor torque per volt of the scaled input.

    >>> round(input_scale(0.34, 0.0102, 20.0), 4)
    1.6667
    """
    not_negative("assist_gain", assist_gain)
    positive("sensor_volts_per_newton_metre", sensor_volts_per_newton_metre)
    positive("controller_newton_metres_per_volt", controller_newton_metres_per_volt)
    return assist_gain / (sensor_volts_per_newton_metre * controller_newton_metres_per_volt)


@formula(
    equation=r"T_\mathrm{sat} = \frac{U_\mathrm{end} - U_0}{S}",
    source="definition",
    sign="positive for driving torque, negative for holding back",
)
def saturation_torque(end: u.Volt, rest_output: u.Volt, volts_per_newton_metre: u.VoltPerNewtonMetre) -> u.NewtonMetre:
    """Torque at which a stage comes to its end.

    Args:
        end: voltage at which the stage goes no further.
        rest_output: its voltage without torque.
        volts_per_newton_metre: its voltage per torque.

    >>> round(saturation_torque(3.05, 1.4, 0.0103), 2), round(saturation_torque(0.25, 1.4, 0.0103), 2)
    (160.19, -111.65)
    """
    positive("volts_per_newton_metre", volts_per_newton_metre)
    return (end - rest_output) / volts_per_newton_metre


@formula(equation=r"T = k\,\frac{z\,\Delta\vartheta}{s}", source="definition", sign="size; it may drive or hold back")
def phantom_torque(drift: u.NewtonMetrePerKelvin, warming: u.KelvinRise, location_share: u.Ratio, assist_gain: u.Ratio) -> u.NewtonMetre:
    """Motor torque that is commanded though nobody pushes, because the zero has drifted.

    Args:
        drift: drift of the zero with temperature, as torque where it is measured.
        warming: change of the element's temperature after the zero was last set.
        location_share: torque where it is measured over torque at the crank.
        assist_gain: motor torque per torque at the crank.

    >>> print(round(phantom_torque(0.06, 20.0, 1.0, 0.34), 4))
    0.408
    """
    not_negative("drift", drift)
    positive("location_share", location_share)
    not_negative("assist_gain", assist_gain)
    return assist_gain * drift * np.abs(warming) / location_share


@formula(
    equation=r"T_m = k\,T\ (|T| > T_0),\quad 0\ (|T| \le T_0),\quad \check T \le T \le \hat T",
    source="definition",
    sign="torque that drives is positive",
    valid="a dead band with an edge: just outside of it the whole torque is answered",
)
def commanded_torque(
    torque: u.NewtonMetre,
    assist_gain: u.Ratio,
    dead_band: u.NewtonMetre,
    lowest: u.NewtonMetre,
    highest: u.NewtonMetre,
    torque_step: u.NewtonMetre = 0.0,
) -> u.NewtonMetre:
    """Motor torque that a chain commands: steps, then rails, then dead band.

    Args:
        torque: torque at the crank as the element feels it.
        assist_gain: motor torque per torque at the crank.
        dead_band: torque at the crank up to which nothing is commanded.
        lowest: torque below which the chain follows no further.
        highest: torque above which it follows no further.
        torque_step: one step of the converter as torque at the crank; 0 for none.

    >>> [round(float(commanded_torque(t, 0.34, 0.8, -110.0, 160.0)), 3) for t in (0.7, 50.0, 400.0, -200.0)]
    [0.0, 17.0, 54.4, -37.4]
    """
    not_negative("assist_gain", assist_gain)
    not_negative("dead_band", dead_band)
    not_negative("torque_step", torque_step)
    not_negative("highest - lowest", highest - lowest)
    size = np.where(np.greater(torque_step, 0), torque_step, 1.0)
    felt = np.where(np.greater(torque_step, 0), size * np.round(torque / size), torque)
    held = np.clip(felt, lowest, highest)
    return np.where(np.abs(held) > dead_band, assist_gain * held, 0.0)[()]


@formula(
    equation=r"\tau = \frac{1}{2 f_s} + \frac{n - 1}{2 f_s} + \tau_p",
    source="astrom_murray, oppenheim_schafer",
    valid="without the filter, which is no pure delay",
)
def chain_dead_time(sampling_frequency: u.Hertz, samples: u.Number = 1, processing_time: u.Second = 0.0) -> u.Second:
    """Dead time from torque to command: holding, averaging, computing and sending.

    Args:
        sampling_frequency: how often it is sampled.
        samples: samples in the moving average.
        processing_time: converting, computing and sending.

    >>> round(chain_dead_time(1000.0, 8, 0.005), 6)
    0.009
    """
    positive("sampling_frequency", sampling_frequency)
    positive("samples", samples)
    not_negative("processing_time", processing_time)
    return samples / (2 * sampling_frequency) + processing_time
