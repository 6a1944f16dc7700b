"""A rider's delay and gains from a log: against other routes, in a closed loop, and with what cannot be told."""

import numpy as np
import pytest
from scipy.interpolate import CubicSpline
from scipy.optimize import least_squares
from scipy.signal import lfilter

from unikit.formulas import _prediction, identification
from unikit.formulas.identification import lagged, rider

RATE = 100.0
STEP = 1 / RATE


def smooth(seed, count=4000, lag=0.15):
    """A lean rate in rad/s that sways."""
    stream = np.random.default_rng(seed)
    return lagged(lagged(stream.normal(size=count), lag, STEP), lag, STEP)


def answer(rate, delay=0.123, proportional=250.0, derivative=45.0, lag=0.03):
    """The rider's torque by splines: a delay and integrals that owe nothing to the kit."""
    time = np.arange(len(rate)) * STEP
    spline = CubicSpline(time, rate)
    fine = np.arange(-2000, 10 * len(rate)) * STEP / 10
    late = np.maximum(fine - delay, 0.0)
    wanted = proportional * spline.antiderivative()(late) + derivative * spline(late)
    decay = np.exp(-STEP / 10 / lag)
    mean = lfilter([(1 - decay) / 2, (1 - decay) / 2], [1, -decay], wanted)
    return mean[2000::10]


def noisy(rate, seed, deviation=1.0, memory=0.95):
    fresh = np.random.default_rng(seed).normal(size=len(rate))
    return answer(rate) + deviation * np.sqrt(1 - memory**2) * lfilter([1.0], [1.0, -memory], fresh)


@pytest.mark.checks("limit", "identification.rider")
def test_without_noise_the_rider_is_found_exactly():
    rate = smooth(1)
    found = rider(rate + 0.02, answer(rate) + 7.0 + 1e-6 * smooth(2), RATE, noise_order=1)
    assert found.delay == pytest.approx(0.123, abs=2e-5)
    assert (found.proportional, found.derivative) == pytest.approx((250.0, 45.0), rel=1e-3)
    assert found.explained > 0.99999


@pytest.mark.checks("independent", "identification.rider")
def test_agrees_with_a_general_least_squares_on_the_same_errors():
    """The general routine moves delay, gains, drift and noise model at once, with splines for the delay."""
    rate = smooth(3)
    torque = noisy(rate, 4)
    found = rider(rate, torque, RATE, noise_order=1)
    time, first = np.arange(len(rate)) * STEP, found.first
    lean = CubicSpline(time, lagged(CubicSpline(time, rate).antiderivative()(time), 0.03, STEP))
    slow = CubicSpline(time, lagged(rate, 0.03, STEP))

    def errors(p):
        late = np.maximum(time - p[0], 0.0)
        left = torque - p[1] * lean(late) - p[2] * slow(late) - p[4] - p[5] * time
        return (left[1:] - p[3] * left[:-1])[first - 1 :]

    other = least_squares(errors, [0.12, 200.0, 40.0, 0.9, 0.0, 0.0], x_scale=[0.01, 10, 1, 0.01, 1, 0.01], xtol=1e-12, ftol=1e-12)
    inverse = np.linalg.inv(other.jac.T @ other.jac)
    deviation = np.sqrt(np.diag(inverse) * 2 * other.cost / (len(other.fun) - 6))
    mine = (found.delay, found.proportional, found.derivative)
    assert np.all(np.abs(np.array(mine) - other.x[:3]) < 0.05 * deviation[:3])
    # the robust errors of one record scatter about those of the curvature
    assert (found.delay_error, found.proportional_error, found.derivative_error) == pytest.approx(deviation[:3], rel=0.25)


@pytest.mark.parametrize("memory", [0.0, 0.8, 0.97])
def test_remnant_is_described(memory):
    rate = smooth(5, 20_000)
    found = rider(rate, noisy(rate, 6, 1.0, memory), RATE)
    samples = (1 + memory) / (1 - memory)  # of a first-order noise, for one independent sample
    assert found.noise_time == pytest.approx(samples * STEP, rel=0.25)
    assert found.effective_samples == pytest.approx(len(found.remainder) / samples, rel=0.25)
    assert found.prediction_error == pytest.approx(np.sqrt(1 - memory**2), rel=0.03)
    assert np.std(found.remainder) == pytest.approx(1.0, rel=0.15)


def test_profile_is_least_at_the_delay_and_ends_at_the_interval():
    rate = smooth(7)
    found = rider(rate, noisy(rate, 8), RATE)
    assert found.profile_excess.min() == pytest.approx(0.0, abs=1e-3)
    assert found.profile_delay[np.argmin(found.profile_excess)] == pytest.approx(found.delay, abs=1e-3)
    ends = np.interp([found.delay_low, found.delay_high], found.profile_delay, found.profile_excess)
    assert ends == pytest.approx([3.84, 3.84], rel=0.01)
    half = identification.INTERVAL * found.delay_error
    assert (found.delay - found.delay_low, found.delay_high - found.delay) == pytest.approx((half, half), rel=0.3)


def test_offset_and_drift_of_the_gyro_change_nothing():
    rate = smooth(9)
    torque = noisy(rate, 10)
    still, moved = rider(rate, torque, RATE), rider(rate + 0.3, torque + 11.0, RATE)
    assert moved.delay == pytest.approx(still.delay, abs=1e-5)
    assert (moved.proportional, moved.derivative) == pytest.approx((still.proportional, still.derivative), rel=1e-5)


def test_gyro_noise_is_taken_off():
    """The bias of noise in what explains is known: it is there without the correction, and gone with it."""
    rate = smooth(11, 30_000)
    torque = noisy(rate, 12, 0.5)
    stream = np.random.default_rng(13)
    heard = rate + 0.03 * stream.normal(size=len(rate))
    deaf, told = rider(heard, torque, RATE), rider(heard, torque, RATE, lean_rate_noise=0.03)
    assert abs(deaf.derivative - 45) > 4 * deaf.derivative_error
    assert abs(told.derivative - 45) < 3 * told.derivative_error
    assert abs(told.delay - 0.123) < 3 * told.delay_error


def test_lag_agrees_with_its_differential_equation():
    time = np.arange(400) * STEP
    signal = np.sin(7 * time)
    exact = (np.sin(7 * time) - 7 * 0.05 * np.cos(7 * time) + 7 * 0.05 * np.exp(-time / 0.05)) / (1 + (7 * 0.05) ** 2)
    assert lagged(signal, 0.05, STEP)[5:-2] == pytest.approx(exact[5:-2], abs=2e-5)
    assert lagged(signal, 0, STEP) == pytest.approx(signal)


def test_cubic_weights_are_exact_for_cubics():
    places = np.array([0.0, 0.3, 0.99])
    value, slope = _prediction.cubic(places)
    nodes = np.array([-1.0, 0.0, 1.0, 2.0])
    for power in range(4):
        assert value @ nodes**power == pytest.approx(places**power, abs=1e-14)
        assert slope @ nodes**power == pytest.approx(power * places ** max(power - 1, 0), abs=1e-14)


def test_drift_columns_span_their_own_lags():
    columns = _prediction.drift(501, 3)
    assert columns.T @ columns == pytest.approx(np.eye(8), abs=1e-12)
    early, late = columns[:-1], columns[1:]
    left = late - early @ np.linalg.lstsq(early, late, rcond=None)[0]
    assert np.abs(left).max() < 1e-12


def changed(**changes):
    rate = smooth(20)
    given = {"lean_rate": rate, "pedal_torque": noisy(rate, 21), "sampling_rate": RATE}
    return given | {name: change(given.get(name)) if callable(change) else change for name, change in changes.items()}


def with_hole(values):
    values = np.array(values)
    values[9] = np.nan
    return values


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        (dict(sampling_rate=25.0), "sampling_rate must be at least 50 Hz to tell delays of a rider, got 25"),
        (dict(sampling_rate=np.nan), "sampling_rate must be at least 50 Hz"),
        (dict(lean_rate=lambda v: v[:900], pedal_torque=lambda v: v[:900]), "the log must last at least 20 s, got 9 s"),
        (dict(pedal_torque=lambda v: v[:-1]), r"pedal_torque must be 4000 samples, as many as the lean rate has, got shape \(3999,\)"),
        (dict(lean_rate=with_hole), "lean_rate must be finite, got nan at sample 10 and 1 such samples in all"),
        (dict(pedal_torque=lambda v: 0 * v + 3), "pedal_torque must vary, got 3 in all samples"),
        (dict(lean_rate=lambda v: v * 1e-2), "the rider hardly moved: lean rate has a standard deviation of .* cannot tell the delay"),
        (dict(lean_rate=lambda v: v[::-1]), "cannot tell the delay"),
        (dict(longest_delay=0.05), "longest_delay must be from 0.07 to 1"),
        (dict(muscle_lag=-0.01), "muscle_lag must be 0 or above"),
        (dict(predictive=True, muscle_lag=0.0), "muscle_lag must be above 0"),
        (dict(leg_damping=2.0), "crank_rate is needed"),
        (dict(lean_rate_noise=10.0), "lean_rate_noise must be at most .* rad/s, which the log itself shows, got 10"),
        (dict(speed=lambda v: np.ones(4000)), "speed must vary, got 1 in all samples"),
    ],
)
def test_what_cannot_be_told_is_said(changes, said):
    with pytest.raises(ValueError, match=said):
        rider(**changed(**changes))
