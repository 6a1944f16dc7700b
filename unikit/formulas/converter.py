"""From a voltage to numbers: codes, quantising, sampling, averaging, and the noise that is in the voltage."""

from __future__ import annotations

import math

import numpy as np

from .. import units as u
from .checks import not_negative, positive
from .registry import formula

BOLTZMANN = 1.380649e-23  # J/K, exact in the SI
_BIT, _SINE = 20 * math.log10(2), 10 * math.log10(1.5)  # decibel for each bit, and for a full sine against the noise of rounding


def _bits(bits: u.Number) -> None:
    positive("bits", bits)
    if np.any(np.asarray(bits) != np.round(bits)):
        raise ValueError(f"bits must be whole, got {bits}")


# -- codes -------------------------------------------------------------------------


@formula(equation=r"n = 2^N", source="frenzel", valid="the steps between the codes are one fewer")
def codes(bits: u.Number) -> u.Number:
    """How many codes a converter has.

    Args:
        bits: its bits.

    >>> codes(14)
    16384.0
    """
    _bits(bits)
    return 2.0**bits


@formula(
    equation=r"U = \frac{n}{2^N}\,U_{FS}", source="bell_instrumentation", valid="an ideal converter; the top code is one step below full"
)
def output_voltage(code: u.Number, bits: u.Number, full_scale: u.Volt) -> u.Volt:
    """Voltage that a code stands for.

    Args:
        code: the code, from 0.
        bits: bits of the converter.
        full_scale: voltage at which it would be full.

    >>> output_voltage(0b1010, 4, 10.0)
    6.25
    """
    not_negative("code", code)
    positive("2**bits - code", codes(bits) - code)
    return code * full_scale / codes(bits)


@formula(equation=r"N = \left\lceil \log_2\left(\frac{1}{e} + 1\right) \right\rceil", source="bell_instrumentation")
def bits_for_share(share: u.Ratio) -> u.Number:
    """Fewest bits with which one step is at most a share of the range.

    Args:
        share: largest step over the whole range between first and last code.

    >>> int(bits_for_share(0.01))
    7
    """
    positive("share", share)
    # A share such as 1/3 must not ask for one bit more because of its last digit.
    return np.maximum(np.ceil(np.log2(1.0 / share + 1) - 1e-12), 1.0)[()]


# -- quantising ----------------------------------------------------------------------


@formula(
    equation=r"u_q = \frac{U_{LSB}}{\sqrt{12}}", source="bennett_1948", valid="a signal that crosses many steps, or noise of about a step"
)
def quantisation_noise(voltage_step: u.Volt) -> u.Volt:
    """Noise (rms) of rounding to steps.

    Args:
        voltage_step: one step of the converter.

    >>> round(1e3 * quantisation_noise(3.3 / 4096), 6)
    0.232575
    """
    not_negative("voltage_step", voltage_step)
    return voltage_step / 12**0.5


@formula(
    equation=r"SNR = 20\lg\left(2^N\sqrt{\tfrac32}\right) = 6.02\,N + 1.76",
    source="bennett_1948, frenzel",
    valid="a sine over the full range, quantising alone",
)
def ideal_signal_to_noise_decibel(bits: u.Number) -> u.Number:
    """Signal over noise of an ideal converter, in decibel.

    Args:
        bits: its bits.

    >>> round(ideal_signal_to_noise_decibel(12), 2)
    74.01
    """
    positive("bits", bits)
    return _BIT * bits + _SINE


@formula(equation=r"N = \frac{SNR - 1.76}{6.02}", source="frenzel", sign="below 0 the noise is larger than the signal")
def effective_bits(signal_to_noise_decibel: u.Number) -> u.Number:
    """Bits of the ideal converter that would be as noisy.

    Args:
        signal_to_noise_decibel: signal over all noise and distortion, of a sine over the full range, in decibel.

    >>> round(effective_bits(78.0), 2)
    12.66
    """
    return (signal_to_noise_decibel - _SINE) / _BIT


@formula(equation=r"SNR = 20\lg\frac{U}{u}", source="definition", valid="both rms")
def signal_to_noise_decibel(signal: u.Volt, noise: u.Volt) -> u.Number:
    """Signal over noise, in decibel.

    Args:
        signal: signal (rms).
        noise: noise (rms).

    >>> print(signal_to_noise_decibel(1.0, 0.001))
    60.0
    """
    positive("signal", signal)
    positive("noise", noise)
    return 20 * np.log10(signal / noise)


# -- sampling and averaging --------------------------------------------------------


@formula(
    equation=r"f_a = |f - f_s\,\mathrm{round}(f/f_s)|", source="nyquist_shannon", valid="nothing in front of the converter takes it out"
)
def alias_frequency(vibration_frequency: u.Hertz, sampling_frequency: u.Hertz) -> u.Hertz:
    """Frequency at which a vibration appears in the samples.

    Args:
        vibration_frequency: frequency of the vibration.
        sampling_frequency: how often it is sampled.

    >>> float(alias_frequency(60.0, 50.0))
    10.0
    """
    not_negative("vibration_frequency", vibration_frequency)
    positive("sampling_frequency", sampling_frequency)
    return np.abs(vibration_frequency - sampling_frequency * np.round(vibration_frequency / sampling_frequency))


@formula(equation=r"\tau = \frac{1}{2 f_s}", source="astrom_murray", valid="the mean over arrivals; at worst a whole period")
def holding_delay(sampling_frequency: u.Hertz) -> u.Second:
    """Mean delay of taking a sample and holding it until the next one.

    Args:
        sampling_frequency: how often it is sampled.

    >>> holding_delay(1000.0)
    0.0005
    """
    positive("sampling_frequency", sampling_frequency)
    return 0.5 / sampling_frequency


@formula(equation=r"\tau = \frac{n - 1}{2 f_s}", source="oppenheim_schafer", valid="exact at every frequency below the first zero")
def averaging_delay(samples: u.Number, sampling_frequency: u.Hertz) -> u.Second:
    """Delay of a moving average with equal weights.

    Args:
        samples: how many samples it averages.
        sampling_frequency: how often it is sampled.

    >>> averaging_delay(8, 1000.0)
    0.0035
    """
    positive("samples", samples)
    positive("sampling_frequency", sampling_frequency)
    return (samples - 1) / (2 * sampling_frequency)


@formula(
    equation=r"H = \frac{1}{n}\sum_{k=0}^{n-1} e^{-jk\omega/f_s} = e^{-j\omega\tau}\,\frac{\sin(n\omega/2f_s)}{n\sin(\omega/2f_s)}",
    source="oppenheim_schafer",
)
def averaging_response(frequency: u.RadianPerSecond, samples: u.Number, sampling_frequency: u.Hertz) -> u.Ratio:
    """Frequency response of a moving average with equal weights (complex).

    Args:
        frequency: angular frequency.
        samples: how many samples it averages.
        sampling_frequency: how often it is sampled.

    >>> response = averaging_response(2 * np.pi * 10.0, 8, 1000.0)
    >>> print(round(float(abs(response)), 6), round(float(-np.angle(response) / (2 * np.pi * 10.0)), 6))
    0.989668 0.0035
    """
    late = averaging_delay(samples, sampling_frequency)
    half = frequency / (2 * sampling_frequency)
    below = samples * np.sin(half)
    whole = np.abs(below) < 1e-12  # a multiple of the sampling frequency, zero among them: all samples are alike
    lean = np.where(whole, np.cos(samples * half) / np.cos(half), np.sin(samples * half) / np.where(whole, 1.0, below))
    return np.exp(-1j * frequency * late) * lean


# -- noise ---------------------------------------------------------------------------


@formula(equation=r"u = \sqrt{4\,k_B\,T\,R\,B}", source="johnson_nyquist, doebelin_measurement")
def johnson_noise(resistance: u.Ohm, temperature: u.Kelvin, bandwidth: u.Hertz) -> u.Volt:
    """Noise (rms) of a resistor. A bridge of four equal gauges has that of one of them.

    Args:
        resistance: its resistance.
        temperature: its temperature.
        bandwidth: equivalent noise bandwidth of what follows.

    >>> print(round(1e6 * johnson_noise(120.0, 300.0, 1e5), 4))
    0.4459
    """
    not_negative("resistance", resistance)
    not_negative("temperature", temperature)
    not_negative("bandwidth", bandwidth)
    return np.sqrt(4 * BOLTZMANN * temperature * resistance * bandwidth)


@formula(equation=r"B = \frac{\pi}{2}\,f_c", source="winder_filters", valid="first-order filter and white noise")
def noise_bandwidth(corner: u.Hertz) -> u.Hertz:
    """Bandwidth of the ideal filter that would let as much white noise through as a first-order one.

    Args:
        corner: its corner frequency.

    >>> round(noise_bandwidth(18.0), 3)
    28.274
    """
    positive("corner", corner)
    return np.pi / 2 * corner


@formula(equation=r"u = e_n\sqrt{B}", source="definition", valid="white noise; below some hertz an amplifier's noise grows")
def amplifier_noise(noise_density: u.VoltPerRootHertz, bandwidth: u.Hertz) -> u.Volt:
    """Noise (rms) of an amplifier at its input.

    Args:
        noise_density: density of its noise.
        bandwidth: equivalent noise bandwidth of what follows.

    >>> print(round(1e9 * amplifier_noise(18e-9, 100.0), 3))
    180.0
    """
    not_negative("noise_density", noise_density)
    not_negative("bandwidth", bandwidth)
    return noise_density * np.sqrt(bandwidth)


@formula(
    equation=r"\frac{u_n^2}{u_1^2} = \frac{1}{n^2}\left[\frac{n\,(1 + \rho)}{1 - \rho} - \frac{2\rho\,(1 - \rho^n)}{(1 - \rho)^2}\right],"
    r"\quad \rho = e^{-2\pi f_c/f_s}",
    source="papoulis",
    valid="white noise through a first-order filter: neighbours are alike, so an average takes out less than one over the root of n",
)
def averaged_share(samples: u.Number, sampling_frequency: u.Hertz, corner: u.Hertz) -> u.Ratio:
    """Noise (rms) after a moving average over that before it, when a filter already stands before the converter.

    Args:
        samples: how many samples are averaged.
        sampling_frequency: how often it is sampled.
        corner: corner frequency of the filter before; inf for noise without memory.

    >>> round(float(averaged_share(8, 1000.0, 18.0)), 4), round(float(averaged_share(16, 1000.0, float("inf"))), 4)
    (0.8717, 0.25)
    """
    positive("samples", samples)
    positive("sampling_frequency", sampling_frequency)
    positive("corner", corner)
    alike = np.exp(-2 * np.pi * corner / sampling_frequency)
    apart = -np.expm1(-2 * np.pi * corner / sampling_frequency)
    inside = samples * (1 + alike) / apart - 2 * alike * (1 - alike**samples) / apart**2
    return np.sqrt(inside) / samples
