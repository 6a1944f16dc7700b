"""What a rider can still catch, in closed form: the largest disturbance, the largest loss of motor torque, the lean of pulsing pedals.

A small lean that nobody answers grows with the toppling rate; lean plus lean
rate over that rate is all that grows, and the torque that the rider brings
counts the less the later it comes.  These are estimates of the best that a
rider with this delay can do, not a proof of recovery: a real answer is not at
its limit at once, the limit pulses with the crank, and legs that resist act
before the delay.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from .. import units as u
from . import pedalling
from .checks import not_negative, positive
from .reflex import Path, Plant, Reflex, lean_response, loop_response, path_response
from .registry import formula
from .road import GRAVITY

_VALID = "small lean; one answer at the limit of torque from the end of the delay on; speed kept meanwhile"


class Strength(NamedTuple):
    """Share of the mean torque that counts, and the crank angle."""

    share: u.Ratio
    crank_angle: u.Radian


def _legs_late(toppling_rate: u.Values, reflex: Reflex) -> u.Values:
    positive("toppling_rate", toppling_rate)
    not_negative("reflex.delay", reflex.delay)
    not_negative("reflex.muscle_lag", reflex.muscle_lag)
    return np.exp(-toppling_rate * reflex.delay) / (1 + toppling_rate * reflex.muscle_lag)


@formula(
    equation=r"\xi_\max = \frac{b}{a}\,\frac{e^{-\Omega\tau_h}}{1 + \Omega\tau_m}"
    r"\left[\lambda\,\Delta T_p + \min(k\,\Delta T_p, \Delta T_m)\,H(\Omega)\right],\quad \Omega = \sqrt a",
    source="capture_point",
    sign="all reserves positive in the direction that catches the fall",
    valid=_VALID + "; a motor at its limit is taken to follow like one below it",
)
def capture_lean(
    plant: Plant,
    reflex: Reflex,
    path: Path,
    gear_leverage: u.Ratio,
    assist_gain: u.Ratio,
    pedal_reserve: u.NewtonMetre,
    motor_reserve: u.NewtonMetre,
) -> u.Radian:
    """Largest sudden lean (or lean rate over toppling rate, or their sum) that rider and motor can still catch.

    Args:
        plant: the machine near its steady ride.
        reflex: the rider; delay and muscle lag count.
        path: the assist path.
        gear_leverage: wheel torque per crank torque through the gear alone, in the direction the catching pedals work.
        assist_gain: motor torque at the wheel per torque at the crank.
        pedal_reserve: crank torque that the rider can add to the steady one.
        motor_reserve: wheel torque that the motor can add to the steady one.

    >>> plant = Plant(41.5, 0.19, 0.0, -29.0, 0.14, -0.03, 0.36)
    >>> rider = Reflex(300.0, 54.0, 0.0, 0.02, 0.1, 0.03, 2.0, 40.0, 0.2)
    >>> round(float(capture_lean(plant, rider, Path(0.01, 10.0, 0.003), 0.65, 0.35, 30.0, 20.0)), 4)
    0.0569
    """
    positive("plant.lean_by_lean", plant.lean_by_lean)
    positive("plant.lean_by_torque", plant.lean_by_torque)
    positive("gear_leverage", gear_leverage)
    not_negative("assist_gain", assist_gain)
    not_negative("pedal_reserve", pedal_reserve)
    not_negative("motor_reserve", motor_reserve)
    rate = np.sqrt(plant.lean_by_lean)
    positive("path.filter_corner", path.filter_corner)
    motor_late = np.exp(-rate * path.dead_time) / ((1 + rate / (2 * np.pi * path.filter_corner)) * (1 + rate * path.motor_lag))
    torque = gear_leverage * pedal_reserve + np.minimum(assist_gain * pedal_reserve, motor_reserve) * motor_late
    return plant.lean_by_torque / plant.lean_by_lean * _legs_late(rate, reflex) * torque


@formula(equation=r"\dot\theta_\max = \Omega\,\xi_\max", source="capture_point", valid=_VALID)
def capture_lean_rate(capture_lean: u.Radian, toppling_rate: u.RadianPerSecond) -> u.RadianPerSecond:
    """Largest sudden lean rate, without a lean, that can still be caught.

    Args:
        capture_lean: largest sudden lean that can be caught.
        toppling_rate: rate at which a lean grows.

    >>> round(capture_lean_rate(0.06, 6.5), 3)
    0.39
    """
    positive("toppling_rate", toppling_rate)
    return toppling_rate * capture_lean


@formula(
    equation=r"\delta v_\max = \Omega\,\xi_\max\,\frac{J}{h}",
    source="rolling_pendulum, capture_point",
    sign="positive where the wheel is slowed and the body pitches forward",
    valid=_VALID + "; a blow at the wheel, no torque from pedals or motor during it; near the upright",
)
def capture_speed_loss(
    capture_lean: u.Radian,
    toppling_rate: u.RadianPerSecond,
    body_mass: u.Kilogram,
    centre_of_mass_height: u.Metre,
    body_inertia: u.KilogramSquareMetre,
) -> u.MetrePerSecond:
    """Largest sudden loss of speed at an edge or bump that can still be caught.

    Args:
        capture_lean: largest sudden lean that can be caught.
        toppling_rate: rate at which a lean grows.
        body_mass: rider and all that leans with the rider.
        centre_of_mass_height: height of that mass above the axle.
        body_inertia: pitch inertia of that mass about its own centre.

    >>> round(capture_speed_loss(0.06, 6.5, 84.0, 0.8, 10.0), 3)
    0.37
    """
    positive("toppling_rate", toppling_rate)
    positive("body_mass", body_mass)
    positive("centre_of_mass_height", centre_of_mass_height)
    positive("body_inertia", body_inertia)
    moment = body_mass * centre_of_mass_height
    return toppling_rate * capture_lean * (moment * centre_of_mass_height + body_inertia) / moment


def _rolling(wheel_mass: u.Values, wheel_inertia: u.Values, wheel_radius: u.Values) -> u.Values:
    not_negative("wheel_mass", wheel_mass)
    not_negative("wheel_inertia", wheel_inertia)
    positive("wheel_radius", wheel_radius)
    return wheel_mass + wheel_inertia / wheel_radius**2


@formula(
    equation=r"\delta s_\max = \xi_\max\,\frac{a\,\Delta}{h\,M g} = \xi_\max\,\frac{l\,g\,m\,M_e}{h\,M g}",
    source="rolling_pendulum, capture_point",
    sign="positive where the slope grows and the body pitches forward",
    valid=_VALID + "; small slopes, so that rise over run, sine and angle are one",
)
def capture_grade_step(
    capture_lean: u.Radian,
    body_mass: u.Kilogram,
    wheel_mass: u.Kilogram,
    wheel_inertia: u.KilogramSquareMetre,
    wheel_radius: u.Metre,
) -> u.Slope:
    """Largest sudden change of slope that can still be caught.

    Args:
        capture_lean: largest sudden lean that can be caught.
        body_mass: rider and all that leans with the rider.
        wheel_mass: wheel with all that turns.
        wheel_inertia: inertia of the wheel about the axle.
        wheel_radius: rolling radius.

    >>> round(capture_grade_step(0.06, 84.0, 8.0, 0.3, 0.36), 4)
    0.0615
    """
    positive("body_mass", body_mass)
    rolling = body_mass + _rolling(wheel_mass, wheel_inertia, wheel_radius)
    return capture_lean * rolling / (body_mass + wheel_mass)


@formula(
    equation=r"\delta F_\max = \xi_\max\,\frac{m g l\,M_e}{|h - M_e l_d|}",
    source="rolling_pendulum, capture_point",
    sign="size of the push; one above the gust-neutral height pitches the body back, one below forward",
    valid=_VALID + "; the first pitch of a push that stays; inf at the gust-neutral height, where only the slow drift of speed is left",
)
def capture_push(
    capture_lean: u.Radian,
    body_mass: u.Kilogram,
    centre_of_mass_height: u.Metre,
    wheel_mass: u.Kilogram,
    wheel_inertia: u.KilogramSquareMetre,
    wheel_radius: u.Metre,
    drag_height: u.Metre,
) -> u.Newton:
    """Largest sudden force of the air along the road that can still be caught.

    Args:
        capture_lean: largest sudden lean that can be caught.
        body_mass: rider and all that leans with the rider.
        centre_of_mass_height: height of that mass above the axle.
        wheel_mass: wheel with all that turns.
        wheel_inertia: inertia of the wheel about the axle.
        wheel_radius: rolling radius.
        drag_height: height above the axle at which the air pushes.

    >>> round(float(capture_push(0.06, 84.0, 0.8, 8.0, 0.3, 0.36, 0.9)))
    211
    """
    positive("body_mass", body_mass)
    positive("centre_of_mass_height", centre_of_mass_height)
    rolling = body_mass + _rolling(wheel_mass, wheel_inertia, wheel_radius)
    moment = body_mass * centre_of_mass_height
    with np.errstate(divide="ignore"):
        return capture_lean * moment * GRAVITY * rolling / np.abs(np.subtract(moment, rolling * drag_height))


@formula(
    equation=r"T_{m0} < \frac{\lambda\,\Delta T_p}{\rho}\,\frac{e^{-\Omega\tau_h}}{1 + \Omega\tau_m} - T_d,\quad"
    r" \rho = \frac{1 - e^{-\Omega t_r}}{\Omega t_r},\quad T_{m0} + T_d \le \lambda\,\Delta T_p",
    source="capture_point, virtual_work",
    sign="motor torque net of its drag, in the direction that the pedals must then replace",
    valid=_VALID + "; with a ramp the answer is to start with the ramp: riders who wait to feel it get less",
)
def cut_out_limit(
    toppling_rate: u.RadianPerSecond,
    reflex: Reflex,
    gear_leverage: u.Ratio,
    pedal_reserve: u.NewtonMetre,
    motor_drag: u.NewtonMetre = 0.0,
    ramp_time: u.Second = 0.0,
) -> u.NewtonMetre:
    """Largest motor torque whose loss the legs alone can still catch; 0 where the dead motor's drag alone is too much.

    Args:
        toppling_rate: rate at which a lean grows.
        reflex: the rider; delay and muscle lag count.
        gear_leverage: wheel torque per crank torque through the gear alone, in the direction the pedals then work.
        pedal_reserve: crank torque that the rider can add to the steady one.
        motor_drag: iron and friction torque that the dead motor still takes from the wheel.
        ramp_time: time over which the motor gives up its torque evenly; 0 for at once.

    >>> rider = Reflex(300.0, 54.0, 0.0, 0.02, 0.1, 0.03, 2.0, 40.0, 0.2)
    >>> round(float(cut_out_limit(6.44, rider, 0.65, 30.0)), 2), round(float(cut_out_limit(6.44, rider, 0.65, 30.0, ramp_time=2.0)), 2)
    (8.58, 19.5)
    """
    positive("gear_leverage", gear_leverage)
    not_negative("pedal_reserve", pedal_reserve)
    not_negative("motor_drag", motor_drag)
    not_negative("ramp_time", ramp_time)
    given = np.maximum(np.multiply(toppling_rate, ramp_time), 1e-12)
    held = gear_leverage * pedal_reserve
    lost = held * np.minimum(_legs_late(toppling_rate, reflex) * given / -np.expm1(-given), 1.0)
    return np.maximum(lost - motor_drag, 0.0)


def _weighted_sine(angle: u.Values, turning: u.Values) -> u.Values:
    """The rectified sine from an angle within a half turn on, weighted by exp(-time); turning in radians per unit of time."""
    half = np.exp(-np.pi / turning)
    rest = np.exp((angle - np.pi) / turning)
    return (np.sin(angle) + turning * np.cos(angle) + 2 * turning * rest / (1 - half)) / (1 + turning**2)


@formula(
    equation=r"\bar g = \Omega\int_0^\infty e^{-\Omega t}\,g(\varphi_0 + \omega_c t)\,dt",
    source="rectified_sine, capture_point",
    valid="an idealised shape of two equal legs; cadence kept",
)
def laplace_strength(crank_angle: u.Radian, cadence: u.RadianPerSecond, toppling_rate: u.RadianPerSecond, floor: u.Ratio) -> u.Ratio:
    """What the pulsing strength of the legs counts for in a catch, over their mean: early torque counts most.

    Args:
        crank_angle: angle of either crank from top dead centre when the answer begins.
        cadence: crank turning rate, either sign.
        toppling_rate: rate at which a lean grows.
        floor: torque at the dead centres over the peak torque.

    >>> round(float(laplace_strength(0.0, 7.4, 6.44, 0.2)), 3), round(float(laplace_strength(1.2, 7.4, 6.44, 1.0)), 3)
    (0.918, 1.0)
    """
    positive("toppling_rate", toppling_rate)
    turning = np.maximum(np.abs(np.divide(cadence, toppling_rate)), 1e-9)
    angle = np.mod(np.where(np.asarray(cadence) < 0, np.negative(crank_angle), crank_angle), np.pi)
    return (floor + (1 - floor) * _weighted_sine(angle, turning)) * pedalling.shape_peak(floor)


@formula(
    equation=r"\min_{\varphi_0}\bar g(\varphi_0)",
    source="rectified_sine, capture_point",
    valid="an idealised shape of two equal legs; cadence kept",
)
def worst_strength(cadence: u.RadianPerSecond, toppling_rate: u.RadianPerSecond, floor: u.Ratio) -> Strength:
    """The least that the pulsing strength of the legs counts for in a catch, over their mean, and where in the turn that is.

    Args:
        cadence: crank turning rate, either sign.
        toppling_rate: rate at which a lean grows.
        floor: torque at the dead centres over the peak torque.

    >>> found = worst_strength(7.4, 6.44, 0.2)
    >>> round(float(found.share), 3), round(float(found.crank_angle), 2)
    (0.798, 2.67)
    """
    positive("toppling_rate", toppling_rate)
    turning = np.maximum(np.abs(np.divide(cadence, toppling_rate)), 1e-9)
    low, high = np.pi / 2 + 0.0 * turning, np.pi + 0.0 * turning  # falls at a quarter turn, rises at the dead centre
    for _ in range(50):
        middle = 0.5 * (low + high)
        pull = 2 * np.exp((middle - np.pi) / turning) / (1 - np.exp(-np.pi / turning))
        falls = np.cos(middle) - turning * np.sin(middle) + pull < 0
        low, high = np.where(falls, middle, low), np.where(falls, high, middle)
    angle = np.where(np.asarray(cadence) < 0, np.pi - middle, middle)
    share = laplace_strength(angle, cadence, toppling_rate, floor)
    return Strength(share, angle + 0.0 * share)


@formula(
    equation=r"\theta_{pp} = 2\left|\frac{P_\theta\,\Lambda\,T_2}{1 + L}\right|_{\omega = 2\omega_c},\quad T_2 = |g_2|\,T_{p0}",
    source="rolling_pendulum, rectified_sine",
    sign="from the foremost to the rearmost lean",
    valid="small deviations; second harmonic of an idealised torque shape; motor below its limits",
)
def ripple_lean(
    plant: Plant,
    reflex: Reflex,
    path: Path,
    gear_leverage: u.Ratio,
    gear_ratio: u.Ratio,
    assist_gain: u.Ratio,
    pedal_torque: u.NewtonMetre,
    cadence: u.RadianPerSecond,
    floor: u.Ratio,
) -> u.Radian:
    """Lean, peak to peak, that steady but pulsing pedal torque keeps going.

    Args:
        plant: the machine near its steady ride.
        reflex: the rider.
        path: the assist path.
        gear_leverage: wheel torque per crank torque through the gear alone.
        gear_ratio: wheel turns per crank turn.
        assist_gain: motor torque at the wheel per torque at the crank.
        pedal_torque: steady crank torque, mean over a turn.
        cadence: crank turning rate.
        floor: torque at the dead centres over the peak torque.

    >>> plant = Plant(41.5, 0.19, 0.0, -29.0, 0.14, -0.03, 0.36)
    >>> rider = Reflex(400.0, 69.0, 3.5, 0.02, 0.1, 0.03, 2.0, 40.0, 0.2)
    >>> round(float(ripple_lean(plant, rider, Path(0.01, 10.0, 0.003), 1.0, 1.0, 0.0, 13.0, 8.33, 0.2)), 4)
    0.0217
    """
    positive("cadence", cadence)
    frequency = 2 * np.asarray(cadence, float)
    around = loop_response(frequency, plant, reflex, path, gear_leverage, gear_ratio, assist_gain)
    lean = lean_response(frequency, plant)
    leverage = gear_leverage + assist_gain * path_response(frequency, path)
    pulse = pedalling.shape_second_harmonic(floor) * np.abs(pedal_torque)
    return 2 * np.abs(lean * leverage / (1 + around)) * pulse
