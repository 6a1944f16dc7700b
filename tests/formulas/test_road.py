"""Road: the published worked examples, and the ways of the signs."""

import numpy as np
import pytest
from published import published

from unikit.formulas import FORMULAS, road

# Martin et al. 1998, worked example
SPEED = 471.8 / 56.42
RIDE = {"mass": 90.0, "slope": 0.003}
WIND = road.relative_wind(SPEED, 2.94, np.radians(310), np.radians(340))
AIR = {"air_density": 1.2234, "drag_area": 0.2565 + 0.0044, "head_wind": WIND.head_wind}
BEARINGS = {"bearing_drag": 0.091, "bearing_drag_per_speed": 0.0087}


def martin_parts() -> dict[str, float]:
    before, after = (road.kinetic_energy(90.0, v, 0.14, 0.311) for v in (8.28, 8.45))
    return {
        "P-ROAD-02": SPEED * road.drag_force(ground_speed=SPEED, **AIR),
        "P-ROAD-03": SPEED * road.rolling_force(rolling_coefficient=0.0032, **RIDE),
        "P-ROAD-04": SPEED * road.bearing_force(SPEED, **BEARINGS),
        "P-ROAD-05": SPEED * road.slope_force(**RIDE),
        "P-ROAD-06": (after - before) / 56.42,
    }


def test_the_worked_example_part_by_part():
    rows = [published("P-ROAD-02"), published("P-ROAD-03"), published("P-ROAD-04"), published("P-ROAD-05"), published("P-ROAD-06")]
    for row in rows:
        assert f"{martin_parts()[row.id]:.1f}" == row.printed, row.id
        assert martin_parts()[row.id] == pytest.approx(row.value, abs=row.tolerance)


def test_the_worked_example_in_total():
    row = published("P-ROAD-01")
    steady = SPEED * road.road_force(ground_speed=SPEED, rolling_coefficient=0.0032, **RIDE, **AIR, **BEARINGS)
    speeding = (8.28 + 8.45) / 2 * road.acceleration_force(90.0, (8.45 - 8.28) / 56.42, 0.14, 0.311)
    # the paper adds the parts as it prints them (208.2 W); unrounded they give 213.37 W
    assert f"{sum(round(part, 1) for part in martin_parts().values()) / 0.976:.1f}" == row.printed
    assert (steady + speeding) / 0.976 == pytest.approx(row.value, abs=row.tolerance)
    assert sum(martin_parts().values()) == pytest.approx(steady + speeding, rel=1e-12)


def test_climbing_at_the_speed_of_coasting_takes_twice_the_slope():
    row = published("P-ROAD-08")
    assert 2 * road.slope_force(50.0, np.tan(np.radians(5))) * 9.8 / road.GRAVITY == pytest.approx(row.value, abs=row.tolerance)
    row = published("P-ROAD-09")
    assert 2 * road.slope_force(60.0, np.tan(np.radians(6))) * 4.5 * 9.8 / road.GRAVITY == pytest.approx(row.value, abs=row.tolerance)


def test_drag_from_coasting_then_climbing():
    row = published("P-ROAD-10")
    slope = np.tan(np.radians(4))
    pull = road.slope_force(75.0, slope)
    drag = pull / (12 / 3.6) ** 2
    power = (drag * (32 / 3.6) ** 2 - pull) * 32 / 3.6
    found = road.speed_at_power(power, 75.0, slope, 0.0, 1.2, 2 * drag / 1.2, 0.0)
    assert found == pytest.approx(row.value, abs=row.tolerance)


@pytest.mark.checks("limit", "road.drag_force", "road.relative_wind")
def test_the_sign_of_the_air():
    assert road.drag_force(1.2, 0.5, 4.0, -7.0) == -road.drag_force(1.2, 0.5, 4.0, -1.0) < 0  # pushed
    assert road.drag_force(1.2, 0.5, -4.0, 0.0) == -road.drag_force(1.2, 0.5, 4.0, 0.0)
    assert road.drag_force(1.2, 0.5, 4.0, 2.0, 8.0) == road.drag_force(1.2, 0.5, 4.0, 2.0, -8.0) == pytest.approx(0.3 * 6.0 * 10.0)
    behind = road.relative_wind(4.0, 7.0, np.pi / 2 + np.pi, np.pi / 2)
    assert behind == pytest.approx((-7.0, 0.0, np.pi), abs=1e-12)
    right = road.relative_wind(0.0, 3.0, np.radians(100), np.radians(10))
    assert right == pytest.approx((0.0, 3.0, np.pi / 2), abs=1e-12)


@pytest.mark.checks("limit", "road.rolling_force", "road.slope_force", "road.slope_angle")
def test_weight_splits_into_sine_and_cosine():
    slope = np.array([-1.0, -0.2, 0.0, 0.3, 1e6])
    along, across = road.slope_force(80.0, slope), road.rolling_force(80.0, 1.0, slope)
    assert np.hypot(along, across) == pytest.approx(np.full(5, 80.0 * road.GRAVITY), rel=1e-14)
    assert np.arctan2(along, across) == pytest.approx(road.slope_angle(slope), rel=1e-14)


@pytest.mark.checks("limit", "road.road_force", "road.bearing_force")
def test_what_resists_turns_round_with_the_motion():
    flat = {"mass": 80.0, "slope": 0.0, "head_wind": 0.0, "air_density": 1.2, "drag_area": 0.5, "rolling_coefficient": 0.01}
    forward, backward = (road.road_force(v, **flat, **BEARINGS) for v in (3.0, -3.0))
    assert forward == -backward > 0
    assert road.road_force(0.0, **flat, **BEARINGS) == pytest.approx(80 * 9.81 * 0.01 + 0.091)


@pytest.mark.checks("independent", *("road.road_force", "road.kinetic_energy", "road.acceleration_force", "road.speed_at_power"))
def test_energy_closes_over_a_ride():
    from scipy.integrate import solve_ivp

    mass, power, inertia, radius, duration = 92.0, 140.0, 0.15, 0.34, 300.0
    numbers = {"mass": mass, "air_density": 1.19, "drag_area": 0.6, "rolling_coefficient": 0.008, **BEARINGS}
    slope = lambda distance: 0.04 * np.sin(distance / 90)
    wind = lambda time: {"head_wind": 4 * np.cos(time / 11) - 3.0, "cross_wind": 2 * np.sin(time / 7)}  # overtakes the rider at times

    def change(time, state):
        distance, v = state[:2]
        force = road.road_force(v, slope=slope(distance), **wind(time), **numbers)
        incline = np.sin(road.slope_angle(slope(distance)))
        parts = (
            road.rolling_force(mass, 0.008, slope(distance)),
            road.drag_force(1.19, 0.6, v, **wind(time)),
            road.bearing_force(v, **BEARINGS),
            incline,  # height
        )
        return [v, (power / v - force) / road.acceleration_force(mass, 1.0, inertia, radius), *(v * part for part in parts)]

    ride = solve_ivp(change, (0.0, duration), [0.0, 4.0, 0, 0, 0, 0], method="DOP853", rtol=1e-10, atol=1e-9)
    start, end = ride.y[1, 0], ride.y[1, -1]
    rolling, air, bearings, height = ride.y[2:, -1]
    gained = road.kinetic_energy(mass, end, inertia, radius) - road.kinetic_energy(mass, start, inertia, radius)
    assert ride.success and ride.y[1].min() > 0.5
    assert rolling + air + bearings + mass * road.GRAVITY * height + gained == pytest.approx(power * duration, rel=1e-6)


SAMPLES = {
    "ground_speed": np.array([[-2.0], [0.0], [6.0]]),
    "speed": np.array([[-2.0], [0.0], [6.0]]),
    "power": np.array([[-40.0], [0.0], [250.0]]),
    "mass": np.array([70.0, 80.0, 95.0, 110.0]),
    "slope": np.array([-0.12, -0.08, -0.06, -0.05]),
    "head_wind": np.array([[-6.0], [-1.0], [5.0]]),
    "cross_wind": np.array([0.0, 3.0, -3.0, 6.0]),
    "wind_speed": np.array([0.0, 3.0, 8.0, 12.0]),
    "wind_direction": np.array([[0.3], [2.0], [5.0]]),
    "acceleration": np.array([[-2.0], [0.0], [1.0]]),
}
DEFAULT = np.array([[0.3], [0.5], [0.7]])


@pytest.mark.parametrize("name", [name for name, entry in FORMULAS.items() if entry.topic == "road"])
def test_arrays_equal_a_loop_of_scalars(name):
    entry = FORMULAS[name]
    given = {a: SAMPLES.get(a, DEFAULT if a != "rolling_coefficient" else DEFAULT / 100) for a in entry.arguments}
    together = entry.function(**given)
    fields = together if isinstance(together, tuple) else (together,)
    shape = np.broadcast_shapes(*(value.shape for value in given.values()))
    grid = {a: np.broadcast_to(value, shape) for a, value in given.items()}
    for at in np.ndindex(shape):
        alone = entry.function(**{a: float(values[at]) for a, values in grid.items()})
        for one, field in zip(alone if isinstance(alone, tuple) else (alone,), fields, strict=True):
            assert one == pytest.approx(np.broadcast_to(field, shape)[at], rel=1e-12, abs=1e-12)


@pytest.mark.parametrize(
    ("call", "text"),
    [
        (lambda: road.slope_force(0.0, 0.1), r"mass must be above 0, got 0"),
        (lambda: road.rolling_force(80.0, -0.01, 0.0), r"rolling_coefficient must be 0 or above, got -0\.01"),
        (lambda: road.drag_force(1.2, float("nan"), 4.0, 0.0), r"drag_area must be 0 or above, got nan"),
        (lambda: road.drag_force(-1.2, 0.5, 4.0, 0.0), r"air_density must be 0 or above, got -1\.2"),
        (lambda: road.bearing_force(4.0, -0.1, 0.0), r"bearing_drag must be 0 or above, got -0\.1"),
        (lambda: road.bearing_force(4.0, 0.1, -1.0), r"bearing_drag_per_speed must be 0 or above, got -1"),
        (lambda: road.relative_wind(4.0, -1.0, 0.0, 0.0), r"wind_speed must be 0 or above, got -1"),
        (lambda: road.kinetic_energy(80.0, 3.0, 0.1, 0.0), r"wheel_radius must be above 0, got 0"),
        (lambda: road.acceleration_force(80.0, 3.0, -0.1, 0.3), r"inertia must be 0 or above, got -0\.1"),
        (lambda: road.drag_area(-1.0, 0.5), r"drag_coefficient must be 0 or above, got -1"),
        (lambda: road.drag_area(1.0, -0.5), r"frontal_area must be 0 or above, got -0\.5"),
    ],
)
def test_impossible_numbers_are_refused_by_name(call, text):
    with pytest.raises(ValueError, match=text):
        call()
