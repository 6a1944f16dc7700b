"""Computed rides: files that come out the same, and a machine that obeys the kit's own formulas."""

from pathlib import Path

import numpy as np
import pytest

from unikit.formulas import road
from unikit.inputs import load_build, load_case, load_ride
from unikit.studies import ride_balance, ride_logged

LOGS = Path("data/logs")
BARE = ride_logged.Scenario(
    gust_deviation=0.0,
    torque_noise=0.0,
    torque_zero_deviation=0.0,
    torque_scale_deviation=0.0,
    electrical_scale_deviation=0.0,
    speed_noise=0.0,
    cadence_noise=0.0,
    voltage_noise=0.0,
    current_noise=0.0,
    altitude_noise=0.0,
    altitude_drift=0.0,
    heading_noise=0.0,
    duration=900.0,
)


@pytest.fixture(scope="module")
def parts():
    build = load_build("data/builds/harbour_commuter.toml")
    return build, ride_logged.hidden(build), load_case("data/cases/flat_cruise.toml")


def test_the_example_logs_come_out_byte_for_byte(tmp_path):
    assert ride_logged.main([str(tmp_path)]) == 0
    for name in ride_logged.EXAMPLES:
        fresh, kept = (folder / f"{name}.csv" for folder in (tmp_path, LOGS))
        assert fresh.read_bytes() == kept.read_bytes()
        assert kept.stat().st_size < 250_000


@pytest.mark.parametrize("name, minutes", [("errand", 39), ("homeward", 33)])
def test_the_example_logs_are_read(name, minutes):
    log = load_ride(LOGS / f"{name}.csv", LOGS / "ride.toml")
    assert log["time"][-1] == pytest.approx(60 * minutes)
    assert log.piece[-1] == 0
    for quantity in (*ride_balance.NEEDED, "crank_rate", "battery_voltage", "battery_current", "winding_temperature"):
        assert np.isfinite(log[quantity]).all()


def test_the_truth_is_not_what_the_build_says(parts):
    build, true, _ = parts
    assert true.wheel.rolling_coefficient > 1.1 * build.wheel.rolling_coefficient
    assert true.rider.drag_area > 1.1 * build.rider.drag_area
    assert true.gears.named().efficiency < build.gears.named().efficiency - 0.02


@pytest.mark.parametrize("trim", ["none", "steps"])
def test_work_at_the_wheel_is_what_road_and_air_take(parts, trim):
    """Without noise: legs through the gear and motor less its drag, against each force of the road, summed over the whole ride."""
    from unikit.inputs import replace
    from unikit.studies.drive import drive
    from unikit.studies.ride_balance import motor_torque

    _, true, case = parts
    case = replace(case, {"trim": trim})
    log = ride_logged.ride(true, case, BARE, seed=5).log()
    speed, torque = log["speed"], log["pedal_torque"]
    rotation = speed / true.wheel.radius
    efficiency = np.where(torque >= 0, true.gears.named().efficiency, 1 / true.gears.named().efficiency)
    motor = (motor_torque(true, case, log)[0] - drive(true).drag(rotation)) * rotation
    given = np.trapezoid(torque * log["crank_rate"] * efficiency + motor)
    slope = np.gradient(log["altitude"]) / np.maximum(speed, 0.1)
    head = BARE.wind_from_north * np.cos(log["heading"]) + BARE.wind_from_east * np.sin(log["heading"])
    cross = BARE.wind_from_east * np.cos(log["heading"]) - BARE.wind_from_north * np.sin(log["heading"])
    air = road.drag_force(case.air_density, true.rider.drag_area, speed, head, cross)
    rolling = road.rolling_force(true.total_mass, true.wheel.rolling_coefficient, slope)
    bearing = road.bearing_force(speed, true.wheel.bearing_drag, true.wheel.bearing_drag_per_speed)
    climbed = true.total_mass * road.GRAVITY * (log["altitude"][-1] - log["altitude"][0])
    taken = np.trapezoid((air + rolling + bearing) * speed) + climbed
    assert given == pytest.approx(taken, rel=0.01)


def test_the_truth_balances_every_stretch_of_a_ride_without_noise(parts):
    """Legs, motor less iron drag and what its pulses cost; and the share of motor work that follows the legs."""
    from unikit.formulas import road_fit
    from unikit.studies import ride_log

    build, true, case = parts
    account = ride_balance.account_of(build, case, ride_logged.ride(true, case, BARE, seed=5).log()).account
    value = ride_log.begin_of(true)
    value[3:5] = BARE.wind_from_north, BARE.wind_from_east
    left = road_fit.pushed(account, value) - road_fit.resisted(account, ride_log.machine_of(true, case), value)
    assert abs(np.mean(left)) < 0.02
    driven = account.hold_turn == 0
    assert driven.sum() > 8
    slope, _ = np.polyfit((account.drive_work / account.distance)[driven], (account.motor_work / account.distance)[driven], 1)
    assert account.answer[driven] == pytest.approx(np.full(driven.sum(), slope), rel=0.05)


def test_gusts_are_as_strong_and_as_lasting_as_stated():
    stream = np.random.default_rng(2)
    made = ride_logged._remembering(stream, (2000, 400), 0.9, 20.0, 1.0)
    assert made.std() == pytest.approx(0.9, rel=0.01)
    assert np.mean(made[:, 100:-20] * made[:, 120:]) / 0.81 == pytest.approx(np.exp(-1), abs=0.01)


def test_rides_go_out_and_back_and_stop(parts):
    _, true, case = parts
    logged = ride_logged.ride(true, case, BARE, seed=6, rides=3)
    speed = logged.values["speed"]
    half = speed.shape[1] // 2
    assert speed[:, :half].sum(axis=1) == pytest.approx(speed[:, half:].sum(axis=1), rel=0.35)
    assert np.all((speed == 0).sum(axis=1) > 60)
    resting = logged.values["battery_current"][speed == 0]
    assert resting == pytest.approx(np.full(resting.shape, 6.0 / 52.0), rel=0.1)  # nothing but the standby power
