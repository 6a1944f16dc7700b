"""The sensing chain's formulas against circuits that are solved, samples that are taken and beams that are added up."""

import math

import numpy as np
import pytest
from broadcasting import assert_broadcasts
from published import published

from unikit.formulas import converter, epicyclic, sensing, shafts, strain

RNG = np.random.default_rng


def agrees(row, value):
    assert float(value) == pytest.approx(row.value, abs=row.tolerance, rel=0)


def node_voltages(conductances, sources):
    """Voltages of a net of resistors by Kirchhoff's current law."""
    return np.linalg.solve(np.array(conductances), np.array(sources))


@pytest.mark.checks("independent", "sensing.loaded_divider")
def test_a_loaded_divider_is_that_of_the_net_of_resistors():
    agrees(published("E-01"), 54.6 * sensing.loaded_divider(100e3, 3.3e3))
    agrees(published("E-01 loaded"), 54.6 * sensing.loaded_divider(100e3, 3.3e3, 100e3))
    for upper, lower, load in np.exp(RNG(1).uniform(np.log(10), np.log(1e6), (40, 3))):
        (out,) = node_voltages([[1 / upper + 1 / lower + 1 / load]], [1 / upper])
        assert sensing.loaded_divider(upper, lower, load) == pytest.approx(out, rel=1e-12)
    assert sensing.loaded_divider(0.0, math.inf) == 1.0


@pytest.mark.checks("independent", "strain.wheatstone_output", "strain.bridge_output")
def test_a_bridge_is_that_of_the_net_of_resistors():
    for changes in RNG(2).uniform(-0.3, 0.3, (40, 4)):
        one, two, three, four = 350 * (1 + changes)
        # node a between arms two and one, node b between arms three and four; the excitation of 1 V feeds arms two and three
        left, right = node_voltages([[1 / one + 1 / two, 0], [0, 1 / three + 1 / four]], [1 / two, 1 / three])
        assert strain.wheatstone_output(*changes) == pytest.approx(left - right, abs=1e-12)
    x = 2.0 * 1e-3
    for count, arms in {1: (x, 0, 0, 0), 2: (x, -x, 0, 0), 4: (x, -x, x, -x)}.items():
        assert strain.bridge_output(2.0, 1e-3, count) == pytest.approx(strain.wheatstone_output(*arms), rel=1e-12)


@pytest.mark.checks("limit", "strain.bridge_output_linear")
def test_the_straight_line_of_a_bridge_is_its_slope_at_rest():
    for count in strain.BRIDGES:
        small = 1e-7
        assert strain.bridge_output(2.1, small, count) == pytest.approx(strain.bridge_output_linear(2.1, small, count), rel=1e-6)
    assert strain.bridge_output_linear(2.0, 1e-3, 1) / strain.bridge_output(2.0, 1e-3, 1) == pytest.approx(1.001)


@pytest.mark.checks("limit", "strain.shear_modulus")
def test_shear_modulus_between_half_and_a_third_of_the_elastic_one():
    assert strain.shear_modulus(200e9, 0.0) == pytest.approx(100e9)
    assert strain.shear_modulus(210e9, 0.5) == pytest.approx(70e9)


@pytest.mark.checks("independent", "shafts.torsion_stress", "strain.torsion_strain")
def test_rings_of_a_tube_add_up_to_its_torque_and_the_strain_is_that_of_the_turned_square():
    diameter, bore, modulus = 0.025, 0.021, 79.3e9
    top = shafts.torsion_stress(100.0, diameter, bore)
    edges = np.linspace(bore / 2, diameter / 2, 20001)
    radius, wide = (edges[1:] + edges[:-1]) / 2, np.diff(edges)
    assert np.sum(top * radius / (diameter / 2) * 2 * np.pi * radius**2 * wide) == pytest.approx(100.0, rel=1e-8)
    shear = top / modulus
    turned = np.array([1.0, 1.0]) @ np.array([[0.0, shear / 2], [shear / 2, 0.0]]) @ np.array([1.0, 1.0]) / 2  # along 45 degrees
    assert strain.torsion_strain(100.0, diameter, bore, modulus) == pytest.approx(turned, rel=1e-12)


@pytest.mark.checks("independent", "strain.bore_for_strain", "strain.diameter_for_strain")
def test_sizes_give_back_the_strain_that_was_wanted():
    some = RNG(3).uniform
    diameter, share = some(0.01, 0.06, 300), some(0.1, 0.97, 300)
    torque, modulus = some(5, 300, 300), some(20e9, 90e9, 300)
    reached = strain.torsion_strain(torque, diameter, share * diameter, modulus)
    assert strain.bore_for_strain(torque, diameter, reached, modulus) == pytest.approx(share * diameter, rel=1e-9)
    assert strain.diameter_for_strain(torque, share, reached, modulus) == pytest.approx(diameter, rel=1e-12)
    assert np.isnan(strain.bore_for_strain(500.0, 0.01, 1e-4, 79e9))


@pytest.mark.checks("independent", "strain.bending_stress", "strain.bending_strain")
def test_fibres_of_an_arm_add_up_to_its_moment():
    force, distance, width, height = 300.0, 0.05, 0.012, 0.02
    top = strain.bending_stress(force, distance, width, height)
    edges = np.linspace(-height / 2, height / 2, 20001)
    place = (edges[1:] + edges[:-1]) / 2
    assert np.sum(top * place / (height / 2) * place * width * np.diff(edges)) == pytest.approx(force * distance, rel=1e-8)
    assert strain.bending_strain(force, distance, width, height, 70e9) == pytest.approx(top / 70e9, rel=1e-12)


@pytest.mark.checks("independent", "converter.quantisation_noise", "converter.effective_bits", "converter.ideal_signal_to_noise_decibel")
def test_rounding_a_sine_makes_the_noise_that_is_said():
    step = 2.0 / 2**10
    signal = np.sin(2 * np.pi * np.arange(200_000) * (math.sqrt(5) - 2))
    error = step * np.round(signal / step) - signal
    rms = float(np.sqrt(np.mean(error**2)))
    assert converter.quantisation_noise(step) == pytest.approx(rms, rel=0.01)
    found = converter.signal_to_noise_decibel(math.sqrt(0.5), rms)
    assert converter.ideal_signal_to_noise_decibel(10) == pytest.approx(found, abs=0.1)
    assert converter.effective_bits(found) == pytest.approx(10, abs=0.02)


@pytest.mark.checks("limit", "converter.signal_to_noise_decibel")
def test_ten_times_the_signal_is_twenty_decibel():
    assert converter.signal_to_noise_decibel(np.array([0.01, 0.1, 1.0]), 0.01) == pytest.approx([0, 20, 40])


@pytest.mark.checks("independent", "converter.bits_for_share")
def test_the_bits_are_the_fewest_that_do():
    for share in (0.5, 1 / 3, 1 / 7, 0.01, 0.003, 1 / 4095, 1 / 4096):
        bits = int(converter.bits_for_share(share))
        assert 1 / (2**bits - 1) <= share * (1 + 1e-9)
        assert bits == 1 or 1 / (2 ** (bits - 1) - 1) > share


@pytest.mark.checks("independent", "converter.alias_frequency")
def test_a_vibration_and_its_alias_give_the_same_samples():
    time = np.arange(200) / 50.0
    for frequency in (0.0, 7.0, 24.9, 26.0, 50.0, 60.0, 73.0, 124.0, 1013.3):
        alias = converter.alias_frequency(frequency, 50.0)
        assert alias <= 25.0
        assert np.cos(2 * np.pi * frequency * time) == pytest.approx(np.cos(2 * np.pi * alias * time), abs=1e-7)


@pytest.mark.checks("independent", "converter.averaging_delay", "converter.averaging_response")
def test_a_moving_average_responds_as_its_weights_do():
    frequency = np.linspace(0.0, 2 * np.pi * 2600.0, 997)
    for samples in (1, 2, 3, 8, 16):
        weights = np.exp(-1j * np.outer(frequency / 1000.0, np.arange(samples))).mean(axis=1)
        assert converter.averaging_response(frequency, samples, 1000.0) == pytest.approx(weights, abs=1e-10)
        low, step = 2 * np.pi * 20.0, 1e-3
        phase = np.angle(converter.averaging_response(np.array([low - step, low + step]), samples, 1000.0))
        assert converter.averaging_delay(samples, 1000.0) == pytest.approx(-np.diff(phase)[0] / (2 * step), abs=1e-9)
    whole = converter.averaging_response(2 * np.pi * 1000.0 * np.arange(4), 8, 1000.0)
    assert whole == pytest.approx(np.ones(4), abs=1e-9)


@pytest.mark.checks("independent", "converter.holding_delay")
def test_holding_delays_a_ramp_by_half_a_period_in_the_mean():
    time = np.linspace(0.0, 3.0, 300_001)[:-1]
    late = time - np.floor(time * 40.0) / 40.0
    assert converter.holding_delay(40.0) == pytest.approx(late.mean(), rel=1e-3)


@pytest.mark.checks("independent", "converter.noise_bandwidth", "converter.amplifier_noise", "converter.johnson_noise")
def test_noise_through_a_filter_is_that_of_its_response():
    corner = 18.0
    frequency = np.tan(np.linspace(0.0, np.pi / 2, 400_001)[:-1]) * corner  # dense near the corner, and far beyond it
    passed = np.trapezoid(1 / (1 + (frequency / corner) ** 2), frequency)
    assert converter.noise_bandwidth(corner) == pytest.approx(passed, rel=1e-4)
    assert converter.amplifier_noise(18e-9, passed) == pytest.approx(18e-9 * math.sqrt(passed))
    # a resistor on a capacitor: the equipartition of energy knows nothing of bandwidths
    resistance, capacitance, temperature = 8870.0, 1e-6, 293.15
    whole = converter.johnson_noise(resistance, temperature, converter.noise_bandwidth(sensing.filter_corner(resistance, capacitance)))
    assert whole == pytest.approx(math.sqrt(converter.BOLTZMANN * temperature / capacitance), rel=1e-12)


@pytest.mark.checks("independent", "converter.averaged_share")
def test_averaged_noise_is_the_sum_over_all_pairs_of_samples():
    for samples in (1, 2, 8, 64):
        for corner, rate in ((18.0, 1000.0), (0.01, 1000.0), (400.0, 500.0)):
            place = np.arange(samples)
            pairs = np.exp(-2 * np.pi * corner / rate * np.abs(place[:, None] - place))
            assert converter.averaged_share(samples, rate, corner) == pytest.approx(math.sqrt(pairs.mean()), rel=1e-7)
    assert converter.averaged_share(25, 1000.0, math.inf) == pytest.approx(0.2)


@pytest.mark.checks("independent", "sensing.reaction_share")
def test_the_member_that_holds_the_gear_feels_what_statics_say():
    for sun, ring in ((45, 71), (24, 54), (30, 60)):
        ratio = epicyclic.ratio(sun, ring, fixed="sun", driver="carrier", driven="ring")
        held = epicyclic.reaction_torque(sun, ring, fixed="sun", driver="carrier", driven="ring", driver_torque=50.0)
        assert 50.0 * sensing.reaction_share(ratio) == pytest.approx(abs(held), rel=1e-12)
        out = 50.0 * 0.95 / ratio  # crank, wheel and frame: the three torques from outside add to nothing
        assert 50.0 * sensing.reaction_share(ratio, 0.95) == pytest.approx(50.0 - out, rel=1e-12)
    assert sensing.reaction_share(1.0) == sensing.reaction_share(1.0, 0.97) == 0.0


@pytest.mark.checks("independent", "sensing.filter_corner")
def test_the_corner_is_where_half_of_the_power_is_left():
    for resistance, capacitance in ((10e3, 100e-9), (8870.0, 1e-6)):
        rate = 2 * np.pi * sensing.filter_corner(resistance, capacitance)
        response = (1 / (1j * rate * capacitance)) / (resistance + 1 / (1j * rate * capacitance))
        assert 20 * math.log10(abs(response)) == pytest.approx(-3.0103, abs=5e-5)
        assert math.degrees(np.angle(response)) == pytest.approx(-45.0)


@pytest.mark.checks("independent", *("sensing.assist_gain", "sensing.input_scale", "sensing.saturation_torque", "sensing.commanded_torque"))
def test_the_chain_is_what_its_stages_do_one_after_the_other():
    """A chain walked by hand in volts and codes against the closed forms in torque."""
    per_torque, per_volt, scale, rest, full, bits = 0.0103, 20.0, 1.65, 1.4, 3.3, 12
    gain = sensing.assist_gain(per_torque, per_volt, scale)
    low, high = (sensing.saturation_torque(end, rest, per_torque) for end in (0.25, 3.05))
    step = sensing.adc_step(full, bits)
    torque = np.linspace(-170.0, 230.0, 4001)
    volts = np.clip(rest + per_torque * torque, 0.25, 3.05)
    walked = (step * np.round(volts / step) - rest) * scale * per_volt
    walked[np.abs(torque) <= 0.8] = 0.0
    closed = sensing.commanded_torque(torque, gain, 0.8, low, high)
    away = np.abs(np.abs(torque) - 0.8) > 0.1
    assert np.abs(closed - walked)[away].max() <= 0.51 * step * scale * per_volt
    assert sensing.input_scale(gain, per_torque, per_volt) == pytest.approx(scale, rel=1e-12)
    coarse = sensing.commanded_torque(torque, gain, 0.0, low, high, torque_step=10.0) / gain
    assert set(np.round(coarse, 6)) == {*np.arange(-110.0, 170.0, 10.0), *np.round([low, high], 6)}


@pytest.mark.checks("independent", "sensing.phantom_torque")
def test_phantom_torque_is_what_the_command_changes_by_when_the_zero_moves():
    for share in (1.0, 0.3879):
        moved = 0.06 * 20.0 / share
        before, after = (sensing.commanded_torque(30.0 + extra, 0.34, 0.0, -100.0, 150.0) for extra in (0.0, moved))
        assert sensing.phantom_torque(0.06, -20.0, share, 0.34) == pytest.approx(after - before, rel=1e-12)


@pytest.mark.parametrize(
    ("function", "arguments"),
    [
        (strain.torsion_strain, {"torque": [10.0, 90.0], "diameter": [0.02, 0.03, 0.04], "bore": [0.0, 0.01], "shear_modulus": 79e9}),
        (strain.bore_for_strain, {"torque": [10.0, 90.0], "diameter": [0.02, 0.03, 0.04], "strain": 5e-4, "shear_modulus": 79e9}),
        (strain.bending_strain, {"force": [1.0, 2.0], "distance": [0.0, 0.1, 0.2], "width": 0.01, "height": 0.02, "elastic_modulus": 7e10}),
        (strain.bridge_output, {"gauge_factor": [2.0, 2.1], "strain": [1e-4, 1e-3, 1e-2], "active_gauges": [1, 2]}),
        (converter.averaging_response, {"frequency": [0.0, 9.0], "samples": [1.0, 8.0, 16.0], "sampling_frequency": 100.0}),
        (converter.averaged_share, {"samples": [1.0, 8.0], "sampling_frequency": [100.0, 1e3, 1e4], "corner": [5.0, 18.0]}),
        (converter.alias_frequency, {"vibration_frequency": [0.0, 60.0], "sampling_frequency": [50.0, 100.0, 7.0]}),
        (sensing.loaded_divider, {"upper_resistance": [0.0, 1e3], "lower_resistance": [1e2, np.inf, 1e5], "load_resistance": [1e3, 1e6]}),
        (sensing.adc_step, {"full_scale": [3.3, 5.0], "bits": [8.0, 12.0, 16.0]}),
        (
            sensing.commanded_torque,
            {"torque": [-300.0, 0.5, 40.0], "assist_gain": [0.0, 0.3], "dead_band": 1.0, "lowest": -90.0, "highest": 99.0},
        ),
        (sensing.chain_dead_time, {"sampling_frequency": [100.0, 1e3], "samples": [1.0, 4.0, 8.0], "processing_time": [0.0, 1e-3]}),
        (sensing.phantom_torque, {"drift": [0.0, 0.1], "warming": [-20.0, 20.0], "location_share": [0.3, 1.0], "assist_gain": 0.3}),
    ],
    ids=lambda part: part.__name__ if callable(part) else "",
)
def test_broadcasts(function, arguments):
    assert_broadcasts(function, **arguments)


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: strain.torsion_strain(1.0, 0.02, 0.02, 79e9), "diameter - bore must be above 0"),
        (lambda: strain.bridge_output(2.0, 1e-3, 3), "active_gauges must be 1, 2 or 4, got 3"),
        (lambda: strain.gauge_factor(0.3, 0.003, 0.0), "strain must be another number than 0"),
        (lambda: strain.wheatstone_output(-1.0, 0.0, 0.0, 0.0), "1 \\+ first must be above 0"),
        (lambda: converter.output_voltage(16, 4, 10.0), "2\\*\\*bits - code must be above 0"),
        (lambda: converter.codes(11.5), "bits must be whole, got 11.5"),
        (lambda: sensing.reaction_share(0.9), "gear_ratio - 1 must be 0 or above"),
        (lambda: sensing.input_scale(0.3, 0.0, 20.0), "sensor_volts_per_newton_metre must be above 0"),
        (lambda: sensing.commanded_torque(1.0, 0.3, 0.0, 5.0, -5.0), "highest - lowest must be 0 or above"),
    ],
)
def test_what_cannot_be_is_refused(call, words):
    with pytest.raises(ValueError, match=words):
        call()
