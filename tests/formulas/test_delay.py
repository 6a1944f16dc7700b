"""Delay: roots by second routes, their number, boundaries, margins, many systems at once, messages."""

import numpy as np
import pytest
from broadcasting import assert_broadcasts
from delayed_loops import machine, machine_loop, pendulum
from numpy.polynomial import chebyshev
from published import published
from scipy.special import lambertw

from unikit import units
from unikit.formulas import _chebyshev, delay


def matches(row, value):
    assert value == pytest.approx(row.value, abs=row.tolerance, rel=0)


def degrees(response):
    return float(np.degrees(np.angle(response)))


def random_system(seed, states=4, delays=2, rank=None):
    generator = np.random.default_rng(seed)
    parts = []
    for _ in range(delays):
        gain = generator.normal(size=(states, rank or states)) @ generator.normal(size=(rank or states, states))
        parts.append((gain, 10 ** generator.uniform(-1.5, 0)))
    return 2 * generator.normal(size=(states, states)), parts


# -- roots -------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("real", "imag", "kp", "kd"),
    [
        (published("P-BAL-05"), published("P-BAL-05-imag"), 13, 4.5),
        (published("P-BAL-06"), published("P-BAL-06-imag"), 20, 4.5),
        (published("P-BAL-07"), None, 9, 4.5),
        (published("P-BAL-08"), published("P-BAL-08-imag"), 13, 7),
    ],
)
def test_rightmost_root_of_the_delayed_pendulum(real, imag, kp, kd):
    first = delay.rightmost_roots(*pendulum(9.81, kp, kd, 0.2))[0]
    matches(real, first.real)
    if imag:
        matches(imag, first.imag)
    else:
        assert first.imag == 0


def test_lambert_w():
    first = delay.rightmost_roots([[0.0]], [([[-1.0]], 1.0)], count=1)[0]
    matches(published("P-BAL-09"), first.real)
    matches(published("P-BAL-09-imag"), first.imag)
    limit = delay.rightmost_roots([[0.0]], [([[-np.pi / 2]], 1.0)], count=1)[0]
    matches(published("P-BAL-10"), limit.imag / np.pi)
    assert abs(limit.real) < 1e-12


@pytest.mark.checks("independent", "delay.rightmost_roots")
@pytest.mark.parametrize(("own", "late", "time"), [(0.0, -1.0, 1.0), (-1.3, -2.0, 0.4), (0.5, 0.7, 1.7), (-2.0, 3.0, 0.05)])
def test_scalar_roots_are_branches_of_lambert_w(own, late, time):
    branch = lambertw(late * time * np.exp(-own * time), np.arange(-40, 41)) / time + own
    expected = branch[np.lexsort((-branch.imag, -branch.real))]
    found = delay.rightmost_roots([[own]], [([[late]], time)], count=9)
    assert found == pytest.approx(expected[:9], rel=1e-12, abs=1e-12)


def full_generator(a_matrix, delayed, order):
    """Every state, not every delayed signal, on one polynomial over the longest delay, read at each delay."""
    states, longest = len(a_matrix), max(time for _, time in delayed)
    points = np.cos(np.pi * np.arange(order + 1) / order)
    inverse = np.linalg.inv(chebyshev.chebvander(points, order))
    slope = 2 / longest * chebyshev.chebval(points, chebyshev.chebder(np.eye(order + 1))).T @ inverse
    whole = np.kron(slope, np.eye(states))
    whole[:states] = 0.0
    whole[:states, :states] = a_matrix
    for gain, time in delayed:
        reading = chebyshev.chebvander([1 - 2 * time / longest], order)[0] @ inverse
        whole[:states] += np.kron(reading, gain)
    return whole


@pytest.mark.checks("independent", "delay.rightmost_roots")
@pytest.mark.parametrize(
    "system", [machine(), *(random_system(seed, delays=1 + seed % 3, rank=(None, 1, 2)[seed % 3]) for seed in range(9))]
)
def test_reduced_and_full_generator_agree_and_the_equation_is_met(system):
    matrix, delayed = system
    roots = delay.rightmost_roots(matrix, delayed)
    full = np.linalg.eigvals(full_generator(matrix, delayed, 40))
    assert max(np.abs(full - root).min() / max(1, abs(root)) for root in roots) < 1e-8
    full = full[np.abs(full) * max(time for _, time in delayed) < 25]  # faster ones are the polynomial's, not the system's
    assert sum(full.real > roots[-1].real + 1e-6) == sum(roots.real > roots[-1].real + 1e-6)
    for s in roots:
        residual = s * np.eye(len(matrix)) - matrix - sum(gain * np.exp(-s * time) for gain, time in delayed)
        size = np.linalg.svd(residual, compute_uv=False)
        assert size[-1] < 1e-12 * size[0]


def test_the_polish_removes_what_the_order_leaves():
    system, _ = _chebyshev.read(*machine())
    exact = delay.rightmost_roots(*machine())
    errors = []
    for order in (5, 7, 9, 12):
        rough = np.linalg.eigvals(_chebyshev.generator(system, order)[0])
        errors.append(max(np.abs(rough - root).min() for root in exact))
    assert errors[0] > 0.1 and all(next_ < 0.2 * this for this, next_ in zip(errors, errors[1:], strict=False))


def test_a_slope_matrix_is_exact_for_polynomials():
    points = np.cos(np.pi * np.arange(8) / 7)
    assert _chebyshev.differentiation(7) @ points**7 == pytest.approx(7 * points**6, abs=1e-12)


@pytest.mark.checks("limit", "delay.rightmost_roots")
def test_no_delay_gives_eigenvalues():
    matrix, parts = random_system(5)
    (one, _), (two, time) = parts
    expected = np.linalg.eigvals(matrix + one + two)
    expected = expected[np.lexsort((-expected.imag, -expected.real))]
    assert delay.rightmost_roots(matrix, [(one, 0.0), (two, 0)]) == pytest.approx(expected, rel=1e-12)
    assert delay.rightmost_roots(matrix + one + two, ()) == pytest.approx(expected, rel=1e-12)
    assert delay.rightmost_roots(matrix, [(one, 0.0), (two, time)]) == pytest.approx(
        delay.rightmost_roots(matrix + one, [(two, time)]), rel=1e-11
    )
    assert delay.rightmost_roots(matrix, [(one, 1e-9), (two, 0.0)], count=4) == pytest.approx(expected, rel=1e-6)


@pytest.mark.checks("limit", "delay.rightmost_roots", "delay.root_count")
def test_a_delay_outside_every_loop_moves_no_root():
    matrix, late = [[-1.0, 0.0], [0.0, 2.0]], [[0.0, 0.0], [5.0, 0.0]]
    assert delay.rightmost_roots(matrix, [(late, 0.7)]).tolist() == [2.0, -1.0]
    assert delay.root_count(matrix, [(late, 0.7)]) == 1


@pytest.mark.checks("limit", "delay.rightmost_roots")
def test_multiple_roots_come_as_often_as_they_are():
    twice = delay.rightmost_roots(-np.eye(2), [(-np.eye(2), 1.0)], count=4)
    once = delay.rightmost_roots([[-1.0]], [([[-1.0]], 1.0)], count=2)
    assert twice == pytest.approx([*once, *once], rel=1e-9)
    double = delay.rightmost_roots([[0.0]], [([[-np.exp(-1)]], 1.0)], count=3)
    assert double[:2] == pytest.approx([-1.0, -1.0], abs=1e-6)
    assert double[2].real < -3


@pytest.mark.checks("independent", "delay.rightmost_roots")
def test_roots_with_resettling_satisfy_the_loop_written_by_hand():
    for settling, roots in ((0.3, delay.rightmost_roots(*machine(settling=0.3))), (0.0, delay.rightmost_roots(*machine()))):
        assert np.abs(1 + machine_loop(roots, settling=settling)).max() < 1e-9


# -- the number of roots ---------------------------------------------------------------


@pytest.mark.checks("independent", "delay.root_count", "delay.is_stable", "delay.rightmost_roots")
def test_argument_count_and_roots_agree():
    counts = []
    for seed in range(60):
        system = random_system(seed, states=1 + seed % 5, delays=seed % 4, rank=1 if seed % 2 else None)
        count = delay.root_count(*system)
        assert isinstance(count, int)
        assert np.sum(delay.rightmost_roots(*system, count=count + 4).real > 0) == count
        assert delay.is_stable(*system) is (count == 0)
        counts.append(count)
    assert len(set(counts)) > 4


def test_a_pair_of_roots_crosses_where_the_margin_says():
    found = delay.margins(np.geomspace(0.02, 300, 500), lambda frequency: machine_loop(1j * frequency))
    up = found.gain_up
    scaled = lambda factor: machine(proportional=250.0 * factor, derivative=50.0 * factor)
    assert [delay.root_count(*scaled(up * shift)) for shift in (0.999, 1.001)] == [0, 2]
    edge = delay.rightmost_roots(*scaled(up))[0]
    assert abs(edge.real) < 1e-8
    assert [delay.root_count(*scaled(found.gain_down * shift)) for shift in (0.999, 1.001)] == [2, 0]
    assert abs(1 + up * machine_loop(1j * edge.imag)) < 1e-9


def test_a_root_on_the_axis_has_no_side():
    with pytest.raises(ValueError, match="a root sits on the imaginary axis near 1.5708 rad/s"):
        delay.root_count([[0.0]], [([[-np.pi / 2]], 1.0)])
    with pytest.raises(ValueError, match="a root sits on the imaginary axis"):
        delay.root_count([[0.0, 1.0], [0.0, 0.0]], [([[0.0, 0.0], [0.0, -1.0]], 0.1)])
    with pytest.raises(ValueError, match="at 0 rad/s"):
        delay.root_count([[0.0]], [])
    assert delay.is_stable([[0.0]], [([[-np.pi / 2]], 1.0)]) is False
    assert delay.is_stable([[0.0]], []) is False


# -- boundaries ----------------------------------------------------------------------


def best_abscissa(a, time):
    """The least real part of the rightmost root over both gains, by a grid that closes in."""
    centre, width = np.array([a, a * time]), np.array([0.3 * a, 0.3 * a * time])
    for _ in range(9):
        kp, kd = (middle + half * np.linspace(-1, 1, 15) for middle, half in zip(centre, width, strict=True))
        kp, kd = np.meshgrid(kp, kd)
        growth = delay.rightmost_roots(*pendulum(a, kp, kd, time), count=1)[..., 0].real
        best = np.unravel_index(np.argmin(growth), growth.shape)
        centre, width = np.array([kp[best], kd[best]]), width / 2
    return growth[best]


@pytest.mark.checks("independent", "delay.critical_delay")
def test_no_gains_hold_the_pendulum_beyond_the_critical_delay():
    assert best_abscissa(9.81, 0.44) < 0 < best_abscissa(9.81, 0.46)
    for a in (9.81, 41.49382):
        limit = delay.critical_delay(np.sqrt(a))
        assert best_abscissa(a, 0.985 * limit) < 0 < best_abscissa(a, 1.015 * limit)


@pytest.mark.checks("limit", "delay.critical_delay")
def test_acceleration_feedback_reaches_further():
    matches(published("P-BAL-03"), delay.critical_delay(3.0, True) / delay.critical_delay(3.0))
    # where a root at zero becomes threefold, 2 + kp tau^2 - 2 kd tau + 2 ka = 0 with kp = a, kd = a tau; such feedback is limited by ka = 1
    a = 9.81
    time = delay.critical_delay(np.sqrt(a), predictive=True)
    assert a * time**2 / 2 - 1 == pytest.approx(1.0, rel=1e-14)


@pytest.mark.checks("independent", "delay.hopf_curve")
def test_points_of_the_hopf_curve_are_roots():
    frequency = np.array([0.5, 1.0, 2.0, 3.0, 4.5])
    kp, kd = delay.hopf_curve(np.sqrt(9.81), 0.2, frequency)
    roots = delay.rightmost_roots(*pendulum(9.81, kp, kd, 0.2))
    assert np.abs(roots - 1j * frequency[:, None]).min(axis=1).max() < 1e-9
    start = delay.hopf_curve(np.sqrt(9.81), 0.2, 0.0)
    assert start == pytest.approx((9.81, 9.81 * 0.2), rel=1e-14)


# -- frequency responses ----------------------------------------------------------------


def test_phases_of_lags():
    matches(published("P-BAL-16"), degrees(delay.second_order_lag(2 * np.pi * 2, 2 * np.pi * 20, 0.7)))
    matches(published("P-BAL-17"), degrees(delay.pure_delay(10.0, 0.05)))
    rate = 2 * np.pi * 3
    matches(published("P-BAL-20"), degrees(delay.first_order_lag(rate, 0.008) * delay.pure_delay(rate, 0.012)))


@pytest.mark.parametrize("sampled", [False, True])
def test_margins_of_a_textbook_loop(sampled):
    frequency = np.geomspace(0.05, 50, 2000 if sampled else 60)
    respond = lambda w: 10 / (1j * w * (1j * w + 1) * (1j * w + 5))
    found = delay.margins(frequency, respond(frequency) if sampled else respond)
    matches(published("P-BAL-14"), float(np.degrees(found.phase)))
    matches(published("P-BAL-14-gain"), found.gain_up)
    matches(published("P-BAL-15"), delay.delay_margin(found.phase, found.phase_frequency))
    assert found.gain_up == pytest.approx(3.0, rel=1e-7 if sampled else 1e-13)
    assert found.gain_down == 0.0
    assert abs(respond(found.phase_frequency)) == pytest.approx(1.0, rel=1e-6 if sampled else 1e-13)


def test_gain_limit_is_the_same_by_margin_and_by_count():
    found = delay.margins(np.geomspace(0.05, 50, 200), lambda w: 1 / np.polyval([1, 3, 3, 2, 0], 1j * w))
    row = published("P-BAL-19")
    matches(row, found.gain_up)
    companion = lambda gain: [[-3, -3, -2, -gain], [1, 0, 0, 0], [0, 1, 0, 0], [0, 0, 1, 0]]
    assert [delay.root_count(companion(row.value + shift), []) for shift in (-1e-3, 1e-3)] == [0, 2]


@pytest.mark.checks("independent", "delay.margins")
def test_margins_of_the_delayed_pendulum():
    a, kp, kd, time = 9.81, 13.0, 4.5, 0.2
    found = delay.margins(np.linspace(0, 60, 300), lambda w: (kp + 1j * kd * w) * np.exp(-1j * w * time) / (-(w**2) - a))
    assert found.gain_down == pytest.approx(a / kp, rel=1e-13)
    scaled = lambda factor, late=time: delay.rightmost_roots(*pendulum(a, kp * factor, kd * factor, late))[0]
    assert abs(scaled(found.gain_up).real) < 1e-10
    later = scaled(1.0, time + delay.delay_margin(found.phase, found.phase_frequency))
    assert abs(later.real) < 1e-10
    assert later.imag == pytest.approx(found.phase_frequency, rel=1e-10)
    dense = np.linspace(0, 60, 2_000_001)
    distance = np.abs(1 + (kp + 1j * kd * dense) * np.exp(-1j * dense * time) / (-(dense**2) - a))
    assert found.vector == pytest.approx(distance.min(), rel=1e-9)
    assert found.vector_frequency == pytest.approx(dense[distance.argmin()], abs=1e-4)


@pytest.mark.checks("limit", "delay.margins")
def test_nothing_crosses_in_a_weak_loop():
    found = delay.margins(np.geomspace(0.01, 10, 50), lambda w: 0.5 / (1 + 1j * w))
    assert found[:4] == (0.0, np.inf, np.inf, np.inf)
    assert found.vector == pytest.approx(1.0, abs=0.03)
    on_limit = delay.margins(np.geomspace(0.1, 10, 50), lambda w: np.pi / 2 * np.exp(-1j * w) / (1j * w) * np.pi / 2 / (np.pi / 2))
    assert on_limit[:2] == pytest.approx((1.0, 1.0), abs=1e-12) or on_limit.vector < 1e-12


# -- many at once ------------------------------------------------------------------------


@pytest.mark.checks("independent", "delay.rightmost_roots", "delay.is_stable")
def test_many_systems_are_a_loop_of_single_ones():
    gains, times = np.linspace(0.0, 0.6, 7), np.array([0.0, 0.05, 0.10, 0.16])
    matrix, delayed = machine(gains[:, None] + 0 * times, delay=times)
    many = delay.rightmost_roots(matrix, delayed, count=4)
    stable = delay.is_stable(matrix, delayed)
    assert many.shape == (7, 4, 4) and stable.shape == (7, 4)
    assert 0 < stable.sum() < stable.size
    for row, gain in enumerate(gains):
        for column, time in enumerate(times):
            single = delay.rightmost_roots(*machine(gain, delay=time), count=4)
            assert many[row, column, : len(single)] == pytest.approx(single, rel=1e-9, abs=1e-9)
            assert np.all(np.isneginf(many[row, column, len(single) :].real))
            assert stable[row, column] == delay.is_stable(*machine(gain, delay=time))
            assert stable[row, column] == (delay.root_count(*machine(gain, delay=time)) == 0)


def test_more_systems_than_go_at_once():
    number = 2 * _chebyshev.SYSTEMS_AT_ONCE + 3
    time = np.linspace(0.5, 2.5, number)
    assert delay.is_stable([[0.0]], [([[-1.0]], time)]).tolist() == (time < np.pi / 2).tolist()
    assert delay.is_stable(np.zeros((0, 1, 1)), [([[-1.0]], 1.0)]).shape == (0,)


def test_margins_of_many_loops_are_a_loop_of_single_ones():
    frequency, gains = np.geomspace(0.05, 300, 400), np.linspace(0.1, 0.6, 5)[:, None]
    many = delay.margins(frequency, lambda w: machine_loop(1j * w, gains))
    sampled = delay.margins(frequency, machine_loop(1j * frequency, gains))
    for row, gain in enumerate(gains[:, 0]):
        single = delay.margins(frequency, lambda w, gain=gain: machine_loop(1j * w, gain))
        assert [part[row] for part in many] == pytest.approx(list(single), rel=1e-6)
        assert [part[row] for part in sampled] == pytest.approx(list(single), rel=1e-4)


def test_broadcasting():
    assert_broadcasts(delay.critical_delay, toppling_rate=[2.0, 6.4])
    assert_broadcasts(delay.hopf_curve, toppling_rate=[2.0, 6.4], delay=[0.0, 0.1, 0.3], frequency=[0.0, 3.0])
    assert_broadcasts(delay.pure_delay, frequency=[0.0, 3.0], delay=[0.0, 0.1, 0.3])
    assert_broadcasts(delay.sample_and_hold, frequency=[0.0, 3.0], period=[0.0, 0.1, 0.3])
    assert_broadcasts(delay.first_order_lag, frequency=[0.0, 3.0], lag=[0.0, 0.1, 0.3])
    assert_broadcasts(delay.second_order_lag, frequency=[0.0, 3.0], natural_frequency=[1.0, 9.0, 20.0], damping_ratio=[0.2, 1.0])
    assert_broadcasts(delay.delay_margin, phase=[0.1, 0.4], phase_frequency=[1.0, 2.0, 9.0])


def test_the_door_reads_units():
    found = delay.critical_delay.with_units(toppling_rate="6.44 rad/s")
    assert units.magnitude(found, units.Unit("time", "s")) == delay.critical_delay(6.44)


# -- messages -------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("call", "said"),
    [
        (lambda: delay.rightmost_roots([1.0, 2.0], []), r"a_matrix must be a square matrix of real numbers, got float64 of shape \(2,\)"),
        (lambda: delay.rightmost_roots([[1j]], []), "a_matrix must be a square matrix of real numbers, got complex128"),
        (lambda: delay.is_stable([[np.nan]], []), "a_matrix must be finite in every place"),
        (
            lambda: delay.is_stable([[1.0]], [([[1.0, 0.0], [0.0, 1.0]], 0.1)]),
            r"delayed\[0\] must have the 1 rows of a_matrix, got 2",
        ),
        (lambda: delay.is_stable([[1.0]], [([[1.0]], -0.1)]), r"the delay of delayed\[0\] must be 0 or above, got -0.1"),
        (lambda: delay.is_stable([[1.0]], [([[1.0]], np.inf)]), r"the delay of delayed\[0\] must be finite"),
        (lambda: delay.is_stable([[1.0]], [([[1.0]],)]), r"delayed\[0\] must be a pair of a matrix and a delay, got 1 items"),
        (lambda: delay.rightmost_roots([[1.0]], [], count=0), "count must be a whole number above 0, got 0"),
        (lambda: delay.root_count(np.zeros((3, 2, 2)), []), r"root_count takes one system at a time, got leading axes of shape \(3,\)"),
        (
            lambda: delay.rightmost_roots([[0.0, 1.0], [-1e6, 0.0]], [([[0.0, 0.0], [0.0, -5.0]], 10.0)]),
            r"could not be found for sure: near s = .* polynomials of order 192 do not follow the delay of 10 s",
        ),
        (lambda: delay.critical_delay(0.0), "toppling_rate must be above 0, got 0"),
        (lambda: delay.margins([1.0, 1.0, 2.0, 3.0], np.ones(4)), "frequency must be a list of at least 4 rising values"),
        (
            lambda: delay.margins([1.0, 2.0, 3.0, 4.0], np.ones(3)),
            r"loop must have one value for each of the 4 freq.* got shape \(3,\)",
        ),
        (lambda: delay.margins([0.0, 2.0, 3.0, 4.0], [np.inf, 1, 1, 1]), "loop must be finite at every frequency; leave 0 out"),
    ],
)
def test_messages(call, said):
    with pytest.raises(ValueError, match=said):
        call()


@pytest.mark.checks("independent", "delay.sample_and_hold")
@pytest.mark.parametrize("periods", [7, 40, 250])
def test_a_sampled_and_held_sine_is_late_by_half_a_period(periods):
    """Samples of a sine, held: its fundamental by Fourier's integral over one turn, against the formula and a delay of half a period."""
    rate = 14.0
    period = 2 * np.pi / rate / periods
    ends = period * np.arange(periods + 1)
    held = np.exp(1j * rate * ends[:-1])
    fundamental = np.sum(held * (np.exp(-1j * rate * ends[1:]) - np.exp(-1j * rate * ends[:-1])) / (-1j * rate)) * rate / (2 * np.pi)
    found = complex(delay.sample_and_hold(rate, period))
    assert found == pytest.approx(fundamental, abs=1e-12)
    assert abs(found - delay.pure_delay(rate, period / 2)) < (rate * period) ** 2 / 20


@pytest.mark.checks("limit", "delay.sample_and_hold")
def test_without_sampling_nothing_is_held():
    assert delay.sample_and_hold(14.0, 0.0) == 1 == delay.sample_and_hold(0.0, 0.01)
