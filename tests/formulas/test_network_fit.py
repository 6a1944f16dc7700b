"""The thermal network of a run: against closed forms, other integrators and another fitting routine."""

from dataclasses import dataclass

import numpy as np
import pytest
from scipy.integrate import solve_ivp
from scipy.optimize import curve_fit

from unikit.formulas import heat, network_fit
from unikit.formulas._bench_march import Bodies, Drive, course
from unikit.formulas.network_fit import NETWORK, Readings, Sensor, Setup, identify

ALPHA, COLD = 0.00393, 293.15
TRUE = np.array([310.0, 1250.0, 2100.0, 7.5, 4.2, 1.1])
GUESS = [420.0, 1350.0, 1900.0, 9.0, 3.2, 0.8]
NOISES = (0.1, 0.1, 0.001)  # K of the readings of stator, housing and air
OWN = 1.4  # W/K, the housing's computed conductance where it is a constant


def one(*values):
    return np.array(values, float)[None]


def two_bodies(step, power, slope=0.0, to_air=(2.0, 2.0), rises=(0.0, 100.0)):
    """T-12: 400 J/K joined by 0.2 K/W to 3000 J/K, joined by 0.5 K/W to the air."""
    links = np.array([[[0.0, 5.0], [5.0, 0.0]]])
    points = np.zeros((1, len(step) + 1))
    bodies = Bodies(one(400.0, 3000.0), links, np.ones(1), np.array(rises), np.array(to_air))
    heat, gain = power[None], slope * power[None]
    return course(bodies, Drive(np.array(step)[None], heat, heat, gain, gain, points, points + 1, np.zeros(1)))[:, 0]


@pytest.mark.checks("independent", "network_fit.identify")
def test_the_march_is_the_closed_form_of_two_bodies():
    """T-12 with 60 W in the first body alone: 42 K and 30 K at the end, time constants 70.1829 s and 1709.817 s."""
    time = np.cumsum(np.full(120, 30.0))
    made = two_bodies(np.full(120, 30.0), np.full(120, 60.0))[1:]
    rates = 1 / np.array([70.1829, 1709.817])
    steady, speed = np.array([42.0, 30.0]), np.array([60.0 / 400.0, 0.0])
    # from nothing, with the first body's rise beginning as 60 W / 400 J/K
    for body in (0, 1):
        slow = (speed[body] - rates[0] * steady[body]) / (rates[0] - rates[1])
        quick = -steady[body] - slow
        closed = steady[body] + quick * np.exp(-rates[0] * time) + slow * np.exp(-rates[1] * time)
        np.testing.assert_allclose(made[:, body], closed, atol=2e-4)


def test_the_march_follows_growing_loss_and_natural_convection():
    """Against an integrator with error control: loss that grows with the winding, conductance that grows with the housing's rise."""
    rises = np.linspace(0.0, 200.0, 401)
    to_air = 1.0 + 0.35 * rises**0.25
    step = np.concatenate([np.full(20, 0.5), np.full(72, 2.5), np.full(101, 10.0)])
    time = np.concatenate([[0.0], np.cumsum(step)])
    made = two_bodies(step, np.full(len(step), 130.0), ALPHA, to_air, rises)

    def change(_, state):
        across = 5.0 * (state[0] - state[1])
        out = np.interp(abs(state[1]), rises, to_air) * state[1]
        return (130.0 * (1 + ALPHA * state[0]) - across) / 400.0, (across - out) / 3000.0

    exact = solve_ivp(change, (0.0, time[-1]), [0.0, 0.0], t_eval=time, rtol=1e-9, atol=1e-9, max_step=5.0).y.T
    np.testing.assert_allclose(made, exact, atol=0.001)
    assert exact[-1, 0] > 45


@dataclass
class Run:
    """A run in air that stays as it is, at one current from the first reading on: closed forms hold."""

    noise: float
    seed: int = 3

    def __post_init__(self):
        stream = np.random.default_rng(self.seed)
        self.time = np.arange(0.0, 5400.0, 15.0)
        self.resistance = 0.17
        rise = self.model(TRUE, self.resistance)
        scatter = self.noise * stream.normal(size=(4, len(self.time)))
        ohm = self.resistance * (1 + ALPHA * (rise[:, 0] + scatter[0]))
        self.sensors = {
            "stator": Sensor(COLD + rise[:, 1] + scatter[1], self.noise, 1e-6),
            "housing": Sensor(COLD + rise[:, 2] + scatter[2], self.noise, 1e-6),
            "air": Sensor(np.full(len(self.time), COLD), 1e-3, 1e-6),
        }
        self.readings = Readings(self.time, 0 * self.time + 20.0, 20.0 * ohm, 0.0, 20 * ALPHA * self.noise * 0.17, 1e-9, self.sensors)
        self.setup = Setup(1.0, np.array([0.0, 150.0]), np.array([OWN, OWN]), COLD)

    def model(self, network, resistance):
        """Rises over the air by the exact response of a chain."""
        loss, links = 400.0 * resistance, heat.chain([*network[3:5], network[5] * OWN])
        return heat.network_response(network[:3], links, [loss, 0, 0], 0.0, 0.0, self.time, [ALPHA * loss, 0, 0], 0.0)


@pytest.mark.checks("limit", "network_fit.identify")
def test_without_noise_the_network_comes_back():
    run = Run(0.0)
    quiet = {name: one._replace(noise=0.05) for name, one in run.sensors.items()}
    found = identify(run.readings._replace(voltage_noise=4e-4, sensors=quiet), run.setup, GUESS)
    np.testing.assert_allclose([getattr(found, name) for name in NETWORK], TRUE, rtol=1e-3)
    assert found.resistance == pytest.approx(0.17, rel=1e-4)
    assert found.misfit < 0.01


@pytest.mark.checks("independent", "network_fit.identify")
def test_another_fitting_routine_finds_the_same_network_and_errors():
    """scipy's curve_fit on the exact response: what differs is solver, model and slopes."""
    run = Run(0.1)
    found = identify(run.readings, run.setup, GUESS)
    ohm = run.readings.voltage / run.readings.current
    data = np.concatenate([ohm / (0.17 * ALPHA * 0.1), *(run.sensors[name].values / 0.1 for name in ("stator", "housing"))])

    def model(_, *numbers):
        network, resistance, start = np.exp(numbers[:6]), np.exp(numbers[6]), numbers[7]
        loss, links = 400.0 * resistance, heat.chain([*network[3:5], network[5] * OWN])
        made = heat.network_response(network[:3], links, [loss, 0, 0], COLD, start, run.time, [ALPHA * loss, 0, 0], COLD)
        return np.concatenate([resistance * (1 + ALPHA * (made[:, 0] - COLD)) / (0.17 * ALPHA * 0.1), made[:, 1] / 0.1, made[:, 2] / 0.1])

    best, spread = curve_fit(
        model, 0.0, data, p0=[*np.log(GUESS), np.log(0.168), COLD + 0.1], sigma=np.ones(len(data)), absolute_sigma=True
    )
    other = np.sqrt(np.diag(spread))[:6]
    apart = np.log([getattr(found, name) for name in NETWORK]) - best[:6]
    assert np.all(np.abs(apart) < 0.06 * other), apart / other
    assert found.error == pytest.approx(other, rel=0.03)
    assert found.correlation == pytest.approx(spread[:6, :6] / other[:, None] / other, abs=0.03)


def test_the_errors_grow_with_the_noise_and_with_what_is_not_measured():
    run = Run(0.1)
    whole = identify(run.readings, run.setup, GUESS)
    bare = {name: one for name, one in run.sensors.items() if name != "stator"}
    less = identify(run.readings._replace(sensors=bare), run.setup, GUESS)
    assert np.all(less.error > whole.error)
    assert less.names == (*network_fit.SHARED, "housing offset", "air offset")
    power = identify(run.readings._replace(power_scale=0.02), run.setup, GUESS)  # all six go with the power
    assert power.error == pytest.approx(np.hypot(whole.error, 0.02), rel=0.01)


@pytest.mark.parametrize("factor", [0.3, 3.0])
def test_where_it_begins_does_not_matter(factor):
    run = Run(0.1)
    near, far = (identify(run.readings, run.setup, guess) for guess in (GUESS, factor * np.array(GUESS)))
    assert [getattr(far, name) for name in NETWORK] == pytest.approx([getattr(near, name) for name in NETWORK], rel=1e-3)


def test_noise_of_the_current_is_in_heat_and_resistance():
    """Were the noisy current squared in the heat and the divisor of the resistance, the factor would scatter 1.4 times as stated."""
    run, stream, apart = Run(0.0), np.random.default_rng(9), []

    def noisy(values, noise):
        return values + noise * stream.normal(size=values.shape)

    for _ in range(50):
        sensors = {
            name: Sensor(noisy(one.values, noise), noise, 1e-6) for (name, one), noise in zip(run.sensors.items(), NOISES, strict=True)
        }
        seen = run.readings._replace(current=noisy(run.readings.current, 0.05), current_noise=0.05, voltage_noise=1e-6, sensors=sensors)
        found = identify(seen, run.setup, TRUE)
        apart.append(np.log(found.housing_factor / TRUE[5]) / found.error[5])
    assert np.std(apart) == pytest.approx(1.0, abs=0.25)


def test_a_wrong_model_widens_the_intervals():
    run = Run(0.1)
    away = run.sensors["housing"]._replace(values=run.sensors["housing"].values + 0.6 * np.sin(run.time / 300))
    found = identify(run.readings._replace(sensors=run.sensors | {"housing": away}), run.setup, GUESS)
    assert found.misfit > 3
    assert np.all(found.error > 1.5 * identify(run.readings, run.setup, GUESS).error)


def test_a_computed_path_is_kept():
    """A path beside the chain, given as known, leaves less for the chain to carry."""
    run = Run(0.05)
    with_path = run.setup._replace(paths={("winding", "housing"): 0.5, ("stator", "air"): 0.2})
    plain, found = identify(run.readings, run.setup, GUESS), identify(run.readings, with_path, GUESS)
    assert found.winding_to_stator < plain.winding_to_stator and found.stator_to_housing < plain.stator_to_housing
    assert found.housing_factor * OWN == pytest.approx(plain.housing_factor * OWN - 0.2, abs=0.15)


def test_a_ring_of_magnets_that_is_known_comes_off_the_housing():
    run = Run(0.05)
    ring = run.setup._replace(magnet_capacity=600.0, paths={("magnets", "housing"): 30.0, ("stator", "magnets"): 0.8})
    found = identify(run.readings, ring, GUESS)
    assert found.housing_capacity + 600 == pytest.approx(identify(run.readings, run.setup, GUESS).housing_capacity, rel=0.03)


def test_what_cannot_be_fitted_is_refused():
    run = Run(0.1)
    seen, setup = run.readings, run.setup
    with pytest.raises(ValueError, match="sensors must hold housing and air, got stator, housing"):
        identify(seen._replace(sensors={name: run.sensors[name] for name in ("stator", "housing")}), setup, GUESS)
    with pytest.raises(ValueError, match="one value for each of at least 20 readings, got \\[360, 361\\]"):
        identify(seen._replace(current=np.full(361, 20.0)), setup, GUESS)
    with pytest.raises(ValueError, match="the current must be large enough to tell the resistance in at least 10 readings"):
        identify(seen._replace(current=0 * seen.time), setup, GUESS)
    with pytest.raises(ValueError, match="voltage over current must be above 0"):
        identify(seen._replace(voltage=-seen.voltage), setup, GUESS)
    with pytest.raises(ValueError, match="time between readings must be above 0"):
        identify(seen._replace(time=seen.time[::-1]), setup, GUESS)
    with pytest.raises(ValueError, match="a sensor at magnets, but the motor's network has no such body: it has winding, stator, housing"):
        identify(seen._replace(sensors=run.sensors | {"magnets": run.sensors["housing"]}), setup, GUESS)
    with pytest.raises(ValueError, match="at least 20 readings must be used where no other run is known before, got 5"):
        identify(seen, setup, GUESS, run.time < 70.0)
    with pytest.raises(ValueError, match="the current must be switched at most 20 times, and be steady between: it jumps 359 times"):
        pulsed = 1 + 0.2 * (np.arange(360) % 2)
        identify(seen._replace(current=seen.current * pulsed, voltage=seen.voltage * pulsed), setup, GUESS)
    with pytest.raises(ValueError, match="guess must be above 0"):
        identify(seen, setup, [0.0, *GUESS[1:]])
    with pytest.raises(ValueError, match="the run before must have the same sensors: it has stator offset, housing offset, air offset"):
        bare = {name: one for name, one in run.sensors.items() if name != "stator"}
        identify(seen._replace(sensors=bare), setup, GUESS, before=identify(seen, setup, GUESS))
