"""The march in time behind ``events.simulate``: many rides side by side, one small step after the other.

Heun's method of second order.  What a delay carries is kept as its integral
over time, a state like the others: the mean of the delayed signal over a step
is the difference of two values of that integral, so neither a jump of the
signal nor a delay between two steps costs order.  The loop runs some ten
thousand times, so it writes into arrays made once, row by row.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from .pedalling import shape_peak
from .road import GRAVITY

(LEAN, RATE, SPEED, MUSCLE, BEND, BEND_RATE, FILTERED, MOTOR, ANGLE, SETTLED, WANTED, ASKED) = range(12)
ASK = 100  # steps after which the caller is asked whether to go on


class Motor:
    """Torque limits over road speed, straight between the points of the table and constant beyond its ends."""

    def __init__(self, speeds: np.ndarray, highest: np.ndarray, lowest: np.ndarray, speed: np.ndarray) -> None:
        rides = len(speeds)
        ends = np.full((rides, 1), np.inf)
        self._speeds, self._low, self._high = speeds, np.hstack([-ends, speeds]), np.hstack([speeds, ends])
        flat, self._lines = np.zeros((rides, 1)), []
        for torque in (lowest, highest):
            slope = np.hstack([flat, np.diff(torque) / np.diff(speeds), flat])
            start = np.hstack([torque[:, :1], torque - slope[:, 1:] * speeds])
            self._lines += [start, slope]
        self._at = np.empty((6, rides))  # ends of the piece that each ride is on, and its two lines
        self._find(np.arange(rides), speed)
        self._below, self._above = np.empty((2, rides), bool)

    def _find(self, rides: np.ndarray, speed: np.ndarray) -> None:
        piece = np.sum(speed[rides, None] >= self._speeds[rides], axis=1)
        for row, table in enumerate((self._low, self._high, *self._lines)):
            self._at[row, rides] = table[rides, piece]

    def follow(self, speed: np.ndarray) -> None:
        """Go over to another piece where the speed has left the present one."""
        np.less(speed, self._at[0], out=self._below)
        np.greater_equal(speed, self._at[1], out=self._above)
        np.logical_or(self._below, self._above, out=self._above)
        if self._above.any():
            self._find(np.nonzero(self._above)[0], speed)

    def limit(self, torque: np.ndarray, speed: np.ndarray, spare: np.ndarray) -> None:
        """Bring torques between the limits at these speeds, in place."""
        _, _, low, low_slope, high, high_slope = self._at
        np.multiply(low_slope, speed, out=spare)
        np.add(spare, low, out=spare)
        np.maximum(torque, spare, out=torque)
        np.multiply(high_slope, speed, out=spare)
        np.add(spare, high, out=spare)
        np.minimum(torque, spare, out=torque)


class March:
    """Rides of one block: numbers that stay, the states, and room for what is worked out on the way."""

    def __init__(self, given: dict[str, np.ndarray], step: float, pulsing: bool) -> None:
        self.__dict__.update(given)  # names of the records' fields, one value per ride
        self.step, self.pulsing, rides = step, pulsing, len(given["speed"])
        self._constants()
        self.states, self._ahead = np.zeros((12, rides)), np.empty((12, rides))
        self._first, self._second = np.zeros((2, 12, rides))
        self._spare = np.empty((14, rides))
        self._driving = np.empty(rides, bool)
        self.pedal, self.motor = np.empty(rides), np.empty(rides)
        x = self.states
        x[LEAN], x[SPEED], x[ANGLE] = self.steady_lean, self.speed - self.speed_loss, self.crank_angle
        x[RATE] = self.lean_rate + self._moment * np.cos(x[LEAN] + np.arctan(self.slope)) * self.speed_loss / self._inertia
        x[MOTOR] = self.steady_motor
        self.limits = Motor(self.speeds, self.highest, self.lowest, x[SPEED])
        self._remember(rides)
        self._surroundings(0.0)
        self._keep_share(0.0)

    def _constants(self) -> None:
        """What does not change during a ride, worked out once."""
        self._per_radius, self._per_gear = 1 / self.wheel_radius, 1 / self.gear_ratio
        self._moment = self.body_mass * self.centre_of_mass_height
        self._weight, total = self._moment * GRAVITY, self.body_mass + self.wheel_mass
        self._load = total * GRAVITY
        self._inertia = self._moment * self.centre_of_mass_height + self.body_inertia
        self._rolling = total + self.wheel_inertia / self.wheel_radius**2
        self._both = self._rolling * self._inertia
        self._air = 0.5 * self.air_density * self.drag_area
        peak = shape_peak(self.torque_floor) * self.zero_cadence_torque
        self._least, self._swing = peak * self.torque_floor, peak * (1 - self.torque_floor)
        self._share_of_strength = self.steady_pedal / self.zero_cadence_torque
        self._per_cadence = 1 / self.zero_torque_cadence
        self._cadence = self.speed * self._per_radius * self._per_gear
        tau = self.replanning_time
        self._legs = bool(np.any(tau > 0))
        self._leg_damping = np.where(tau > 0, self.leg_damping, 0.0)
        self._leg_spring = self.leg_stiffness * tau**2 - 2 * tau * self.leg_damping
        self._two_tau, self._per_tau = 2 * tau, _inverse(tau**2)
        self._per_muscle, self._per_filter, self._per_motor = 1 / self.muscle_lag, _inverse(self.filter_lag), _inverse(self.motor_lag)
        self._no_filter, self._no_motor = self.filter_lag == 0, self.motor_lag == 0
        self._speed_gain = self.proportional * self.speed_gain
        self._level = -self.proportional * self.steady_lean - self._speed_gain * self.speed
        self._driving_leverage = self.gear_efficiency / self.gear_ratio
        self._resisting_leverage = 1 / (self.gear_efficiency * self.gear_ratio)
        self._ask = self.steady_asked + self.trim
        self._feels = 1 - self.stuck
        self._felt = self.stuck * self.steady_pedal + self.sensor_offset
        self._true_sensor = not (np.any(self.stuck) or np.any(self.sensor_offset))
        self._brakes, self._drags, self._settles = (bool(np.any(p)) for p in (self.short_drag, self.motor_drag, self.settling_rate))
        self._last_end = max(float(np.max(t, where=np.isfinite(t), initial=0.0)) for t in (self.gust_time, self.slope_time))
        self._last_ramp = float(np.max(self.ramp_time))

    def _remember(self, rides: int) -> None:
        """The ring of past integrals: rider's wish and motor's order side by side, with zero for all that was before the event."""
        late = np.concatenate([self.delay, self.dead_time]) / self.step
        whole = np.floor(late).astype(int)
        self._between = late - whole
        rows = int(whole.max()) + 2
        self._ring = np.zeros((rows, 2 * rides))
        self._flat, self._row = self._ring.ravel(), 0
        self._place = ((1 - whole) % rows) * 2 * rides + np.arange(2 * rides)
        self._newer, self._older, self._value, self._before = np.zeros((4, 2 * rides))
        self._late = np.zeros(2 * rides)
        self._late_wanted, self._late_asked = self._late[:rides], self._late[rides:]
        self._wrap = np.empty(2 * rides, bool)
        self._no_delay, self._no_dead_time = self.delay == 0, self.dead_time == 0
        self._at_once = bool(np.any(self._no_delay)), bool(np.any(self._no_dead_time))

    def _recall(self) -> None:
        """Means over the step that begins now of the two delayed signals."""
        width, size = self._ring.shape[1], self._ring.size
        self._ring[self._row] = self.states[WANTED:].ravel()
        self._row = (self._row + 1) % len(self._ring)
        self._newer, self._older = self._older, self._newer
        np.take(self._flat, self._place, out=self._newer, mode="clip")
        np.subtract(self._older, self._newer, out=self._value)
        np.multiply(self._value, self._between, out=self._value)
        np.add(self._value, self._newer, out=self._value)
        np.subtract(self._value, self._before, out=self._late)
        np.multiply(self._late, 1 / self.step, out=self._late)
        self._value, self._before = self._before, self._value
        np.add(self._place, width, out=self._place)
        np.greater_equal(self._place, size, out=self._wrap)
        np.subtract(self._place, size, out=self._place, where=self._wrap)

    def _surroundings(self, time: float) -> None:
        """Slope and wind, as their means over the step: an end inside the step then costs no order."""
        gusty, sloping = (np.clip((end - time) / self.step, 0.0, 1.0) for end in (self.gust_time, self.slope_time))
        self._wind = self.head_wind + gusty * self.gust
        grade = np.arctan(self.slope + sloping * self.slope_step)
        self._sine, self._cosine = np.sin(grade), np.cos(grade)
        self._climb, self._roll = self._load * self._sine, self._load * self.rolling_coefficient * self._cosine

    def _keep_share(self, time: float) -> None:
        """Share of its torque that the motor still gives."""
        ramp = np.where(self.ramp_time > 0, self.ramp_time, 1.0)
        gone = np.where(self.ramp_time > 0, np.minimum(time / ramp, 1.0), 1.0)
        self._keep = np.where(self.short_drag > 0, 0.0, 1 - self.cut_out * gone)

    def _legs_and_gear(self, x: np.ndarray, out: np.ndarray, spin: np.ndarray, cadence: np.ndarray, torque: np.ndarray) -> None:
        """Pedal torque within its limits, what it brings to the wheel, and what the sensor makes the motor's order."""
        strength, slow, high, low, wish = self._spare[:5]
        tp, driving = self.pedal, self._driving
        np.sin(x[ANGLE], out=strength)
        np.abs(strength, out=strength)
        np.multiply(strength, self._swing, out=strength)
        np.add(strength, self._least, out=strength)
        np.multiply(cadence, self._per_cadence, out=slow)
        np.subtract(1.0, slow, out=high)
        np.maximum(high, 0.0, out=high)
        np.minimum(high, 1.0, out=high)
        np.multiply(high, strength, out=high)
        np.add(slow, 1.0, out=low)
        np.maximum(low, 0.0, out=low)
        np.minimum(low, 1.0, out=low)
        np.multiply(low, strength, out=low)
        np.multiply(low, self.backward_strength, out=low)
        np.negative(low, out=low)
        if self.pulsing:
            np.multiply(strength, self._share_of_strength, out=wish)
            np.add(wish, x[MUSCLE], out=wish)
        else:
            np.add(x[MUSCLE], self.steady_pedal, out=wish)
        np.add(wish, x[SETTLED], out=wish)
        if self._legs:
            np.subtract(cadence, self._cadence, out=slow)
            np.subtract(slow, x[BEND], out=slow)
            np.multiply(slow, self._leg_damping, out=strength)
            np.subtract(wish, strength, out=wish)
            np.multiply(x[BEND_RATE], self._leg_spring, out=strength)
            np.subtract(wish, strength, out=wish)
            np.multiply(x[BEND_RATE], self._two_tau, out=strength)
            np.subtract(slow, strength, out=slow)
            np.multiply(slow, self._per_tau, out=out[BEND_RATE])
            out[BEND] = x[BEND_RATE]
        np.maximum(wish, low, out=tp)
        np.minimum(tp, high, out=tp)
        if self._settles:  # what the limits hold back is not learned
            np.subtract(tp, wish, out=slow)
            np.add(slow, x[MUSCLE], out=slow)
            np.multiply(slow, self.settling_rate, out=out[SETTLED])
        np.multiply(tp, cadence, out=slow)
        np.greater_equal(slow, 0.0, out=driving)
        np.multiply(tp, self._resisting_leverage, out=torque)
        np.multiply(tp, self._driving_leverage, out=torque, where=driving)
        felt = tp
        if not self._true_sensor:
            felt = wish
            np.multiply(tp, self._feels, out=felt)
            np.add(felt, self._felt, out=felt)
            np.multiply(felt, cadence, out=slow)
            np.greater_equal(slow, 0.0, out=driving)
        order = out[ASKED]
        np.multiply(felt, self.resisting_gain, out=order)
        np.multiply(felt, self.driving_gain, out=order, where=driving)
        np.subtract(order, self.steady_asked, out=order)

    def _motor(self, x: np.ndarray, out: np.ndarray, spin: np.ndarray, torque: np.ndarray) -> None:
        """Torque of the motor at the wheel, and that torque on top of the pedals'."""
        order, spare, given = self._spare[0], self._spare[1], self.motor
        late = self._late_asked
        if self._at_once[1]:
            np.copyto(late, out[ASKED], where=self._no_dead_time)
        np.subtract(late, x[FILTERED], out=order)
        np.multiply(order, self._per_filter, out=out[FILTERED])
        np.copyto(order, x[FILTERED])
        np.copyto(order, late, where=self._no_filter)
        np.add(order, self._ask, out=order)
        self.limits.limit(order, x[SPEED], spare)
        np.subtract(order, x[MOTOR], out=spare)
        np.multiply(spare, self._per_motor, out=out[MOTOR])
        np.copyto(given, x[MOTOR])
        np.copyto(given, order, where=self._no_motor)
        np.multiply(given, self._keep, out=given)
        if self._drags:
            np.copysign(self.motor_drag, spin, out=spare)
            np.subtract(given, spare, out=given)
        if self._brakes:
            np.multiply(spin, self.short_drag, out=spare)
            np.subtract(given, spare, out=given)
        np.add(torque, given, out=torque)

    def _plant(self, x: np.ndarray, out: np.ndarray, torque: np.ndarray) -> None:
        """The equations of ``balance.motion``."""
        sine, cosine, sine_road, coupling, along, about, drag, spare = self._spare[:8]
        np.sin(x[LEAN], out=sine)
        np.cos(x[LEAN], out=cosine)
        np.multiply(sine, self._cosine, out=sine_road)
        np.multiply(cosine, self._sine, out=spare)
        np.add(sine_road, spare, out=sine_road)
        np.multiply(cosine, self._cosine, out=cosine)
        np.multiply(sine, self._sine, out=spare)
        np.subtract(cosine, spare, out=cosine)  # now of the angle to the road's normal
        np.multiply(cosine, self._moment, out=coupling)
        np.add(x[SPEED], self._wind, out=spare)
        np.abs(spare, out=drag)
        np.multiply(drag, spare, out=drag)
        np.multiply(drag, self._air, out=drag)
        np.multiply(torque, self._per_radius, out=along)
        np.subtract(along, drag, out=along)
        np.subtract(along, self._climb, out=along)
        np.copysign(self._roll, x[SPEED], out=spare)
        np.subtract(along, spare, out=along)
        np.multiply(x[RATE], x[RATE], out=spare)
        np.multiply(spare, sine_road, out=spare)
        np.multiply(spare, self._moment, out=spare)
        np.add(along, spare, out=along)
        np.multiply(sine, self._weight, out=about)
        np.subtract(about, torque, out=about)
        np.multiply(drag, self.drag_height, out=drag)
        np.multiply(drag, cosine, out=drag)
        np.subtract(about, drag, out=about)
        np.multiply(coupling, coupling, out=spare)
        np.subtract(self._both, spare, out=spare)
        fall, gain = out[RATE], out[SPEED]
        np.multiply(about, self._rolling, out=fall)
        np.multiply(along, coupling, out=drag)
        np.subtract(fall, drag, out=fall)
        np.divide(fall, spare, out=fall)
        np.multiply(along, self._inertia, out=gain)
        np.multiply(about, coupling, out=drag)
        np.subtract(gain, drag, out=gain)
        np.divide(gain, spare, out=gain)

    def slopes(self, x: np.ndarray, out: np.ndarray) -> None:
        """Rate of change of every state."""
        spin, cadence, torque = self._spare[8:11]
        np.multiply(x[SPEED], self._per_radius, out=spin)
        np.subtract(spin, x[RATE], out=spin)
        np.multiply(spin, self._per_gear, out=cadence)
        self._legs_and_gear(x, out, spin, cadence, torque)
        self._motor(x, out, spin, torque)
        self._plant(x, out, torque)
        wish, spare = out[WANTED], self._spare[0]
        np.multiply(x[LEAN], self.proportional, out=wish)
        np.add(wish, self._level, out=wish)
        np.multiply(x[SPEED], self._speed_gain, out=spare)
        np.add(wish, spare, out=wish)
        np.multiply(x[RATE], self.derivative, out=spare)
        np.add(wish, spare, out=wish)
        np.multiply(out[RATE], self.acceleration, out=spare)
        np.add(wish, spare, out=wish)
        if self._at_once[0]:
            np.copyto(self._late_wanted, wish, where=self._no_delay)
        np.subtract(self._late_wanted, x[MUSCLE], out=spare)
        np.multiply(spare, self._per_muscle, out=out[MUSCLE])
        out[LEAN], out[ANGLE] = x[RATE], cadence

    def advance(self, number: int) -> None:
        """Go one step on from the step of this number."""
        time, h = number * self.step, self.step
        if time <= self._last_end + h:
            self._surroundings(time)
        ramping = self._last_ramp > 0.0 and time <= self._last_ramp + h
        x, first, second, ahead = self.states, self._first, self._second, self._ahead
        self._recall()
        if ramping:
            self._keep_share(time)
        self.limits.follow(x[SPEED])
        self.slopes(x, first)
        np.multiply(first, h, out=ahead)
        np.add(ahead, x, out=ahead)
        if ramping:
            self._keep_share(time + h)
        self.slopes(ahead, second)
        np.add(first, second, out=first)
        np.multiply(first, h / 2, out=first)
        np.add(x, first, out=x)

    def torques(self) -> tuple[np.ndarray, np.ndarray]:
        """Pedal torque and the motor's torque at the wheel in the present state."""
        self.limits.follow(self.states[SPEED])
        self.slopes(self.states, self._second)
        return self.pedal, self.motor


def _inverse(value: np.ndarray) -> np.ndarray:
    return np.divide(1.0, value, out=np.zeros_like(value), where=value > 0)


def run(march: March, steps: int, every: int, fall_lean: np.ndarray, ask: Callable[[int], None]) -> tuple[np.ndarray, ...]:
    """Samples of lean, lean rate, speed, pedal and motor torque; the time of each fall; lean and lean rate at the end.

    Samples have the shape (5, samples, rides).  A fallen ride keeps its last sample before the fall.
    """
    rides, places = len(fall_lean), (LEAN, RATE, SPEED)
    samples = np.empty((5, steps // every + 1, rides))
    fall_time, standing = np.full(rides, np.inf), np.ones(rides, bool)
    away, before, beyond = np.zeros(rides), np.zeros(rides), np.empty(rides, bool)
    for number in range(steps + 1):
        row = number // every
        if number % every == 0:
            now = [*(march.states[place] for place in places), *march.torques()]
            samples[:, row] = now if row == 0 else np.where(standing, now, samples[:, row - 1])
        if number % ASK == 0:
            ask(number)
            if not standing.any():
                samples[:, row + 1 :] = samples[:, row : row + 1]
                break
        if number == steps:
            break
        march.advance(number)
        away, before = before, away
        np.subtract(march.states[LEAN], march.steady_lean, out=away)
        np.abs(away, out=away)
        np.greater(away, fall_lean, out=beyond)
        np.logical_and(beyond, standing, out=beyond)
        if beyond.any():
            part = (fall_lean[beyond] - before[beyond]) / (away[beyond] - before[beyond])
            fall_time[beyond] = (number + part) * march.step
            standing[beyond] = False
    return samples, fall_time, march.states[[LEAN, RATE]]
