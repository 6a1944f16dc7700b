"""A ride by scipy's solver of ordinary equations and the method of steps: each piece of time knows its past."""

import numpy as np

from unikit.formulas import balance, events, leverage, pedalling

PIECE = 0.01  # s; no delay is shorter, and every jump lies at a multiple of it


def by_steps(road, person, path, legs, motor, event, settling, end):
    """Lean, lean rate and speed at the ends of the pieces, written down once more from the equations alone."""
    from scipy.integrate import solve_ivp

    ride = events.steady_ride(road, motor)
    asked = (motor.driving_gain if ride.pedal_torque > 0 else motor.resisting_gain) * float(ride.pedal_torque)
    corner = 2 * np.pi * path.filter_corner
    moment = road.body_mass * road.centre_of_mass_height
    inertia = moment * road.centre_of_mass_height + road.body_inertia
    radius, ratio = road.wheel_radius, motor.gear_ratio
    past = []  # times, what was wanted and what was ordered, piece by piece; straight between them, for limits make kinks

    def before(time, which):
        piece = int(np.floor(time / PIECE + 1e-9))
        return (0.0, asked)[which] if piece < 0 else np.interp(time, past[piece][0], past[piece][1][which])

    def look(time, x):
        lean, rate, speed, muscle, bend, bend_rate, filtered, given, angle, settled = x
        cadence = (speed / radius - rate) / ratio
        tau, bent = person.replanning_time, cadence - road.speed / radius / ratio - bend
        spring = person.leg_stiffness * tau**2 - 2 * tau * person.leg_damping
        wish = float(ride.pedal_torque) + settled + muscle - person.leg_damping * bent - spring * bend_rate
        shape = float(pedalling.torque_shape(angle, legs.torque_floor))
        most = shape * pedalling.torque_at_cadence(legs.zero_cadence_torque, legs.zero_torque_cadence, float(cadence))
        least = shape * legs.backward_strength * pedalling.torque_at_cadence(legs[0], legs[1], float(-cadence))
        pedal = min(max(wish, -least), most)
        torque = float(leverage.gear_leverage(ratio, motor.gear_efficiency, bool(pedal * cadence < 0))) * pedal
        felt = event.stuck * float(ride.pedal_torque) + (1 - event.stuck) * pedal + event.sensor_offset
        order = (motor.driving_gain if felt * cadence >= 0 else motor.resisting_gain) * felt
        low, high = (np.interp(speed, motor.speeds, table) for table in (motor.lowest, motor.highest))
        spin = speed / radius - rate
        lost = event.cut_out * (min(time / event.ramp_time, 1.0) if event.ramp_time else 1.0)
        turning = 0.0 if event.short_drag else given * (1 - lost)
        torque += turning - np.copysign(motor.motor_drag, spin) - event.short_drag * spin
        now = road._replace(
            slope=road.slope + event.slope_step * (time < event.slope_time),
            head_wind=road.head_wind + event.gust * (time < event.gust_time),
            speed=speed,
        )
        moved = balance.motion(lean, rate, torque, *now)
        wanted = person.proportional * (lean - float(ride.lean) + person.speed_gain * (speed - road.speed))
        wanted += person.derivative * rate + person.acceleration * float(moved.lean_acceleration)
        driven = min(max(filtered + motor.trim, low), high)
        change = [
            rate,
            moved.lean_acceleration,
            moved.acceleration,
            -muscle / person.muscle_lag,
            bend_rate,
            (bent - 2 * tau * bend_rate) / tau**2,
            -filtered * corner,
            (driven - given) / path.motor_lag,
            cadence,
            settling * (muscle + pedal - wish),
        ]
        return np.array(change, float), (wanted, order)

    def slopes(time, x):
        change, _ = look(time, x)
        change[3] += before(time - person.delay, 0) / person.muscle_lag
        change[6] += before(time - path.dead_time, 1) * corner
        return change

    blow = moment * np.cos(ride.lean + np.arctan(road.slope)) * event.speed_loss / inertia
    x = np.array([ride.lean, event.lean_rate + blow, road.speed - event.speed_loss, 0, 0, 0, asked, ride.motor_torque, legs.crank_angle, 0])
    found = [x[:3]]
    for piece in range(round(end / PIECE)):
        inside = piece * PIECE + 1e-9, (piece + 1) * PIECE - 1e-9  # just inside, so that what ends at the edge is on one side
        times = np.linspace(*inside, 41)
        states = solve_ivp(slopes, inside, x, method="RK45", rtol=1e-9, atol=1e-12, max_step=PIECE / 2, t_eval=times).y.T
        signals = np.array([look(time, state)[1] for time, state in zip(times, states, strict=True)])
        past.append((times, signals.T))
        x = states[-1]
        found.append(x[:3])
    return np.transpose(found)
