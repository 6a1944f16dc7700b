"""What a torque at the crank becomes at the wheel, with the gear and with assist."""

from __future__ import annotations

import numpy as np

from .. import units as u
from .checks import not_negative, positive, within
from .registry import formula

_SIGN = "pedal and wheel torque positive forward; every leverage is positive"


def _efficiency(gear_efficiency: u.Ratio) -> None:
    if gear_efficiency.__class__ is float and 0.0 < gear_efficiency <= 1.0:
        return
    positive("gear_efficiency", gear_efficiency)
    within("gear_efficiency", gear_efficiency, 0.0, 1.0)


def _crank_share(crank_length: u.Metre | None, reference_crank_length: u.Metre | None) -> u.Ratio:
    """Crank length over reference crank length; 1 when both are left out."""
    if crank_length is None and reference_crank_length is None:
        return 1.0
    if crank_length is None or reference_crank_length is None:
        raise ValueError("crank_length and reference_crank_length belong together: give both, or leave both out for equal cranks")
    positive("crank_length", crank_length)
    positive("reference_crank_length", reference_crank_length)
    return crank_length / reference_crank_length


@formula(
    equation=r"\lambda = \frac{\eta}{G}\ \text{driving},\quad \lambda = \frac{1}{\eta\,G}\ \text{resisting}",
    source="virtual_work",
    sign=_SIGN,
)
def gear_leverage(gear_ratio: u.Ratio, gear_efficiency: u.Ratio, resisting: bool = False) -> u.Ratio:
    """Wheel torque per crank torque through the gear alone.

    The loss in the gear always works against the motion: it takes from the
    pedals while they drive the wheel, and helps them while they hold it back.

    Args:
        gear_ratio: wheel turns per crank turn.
        gear_efficiency: power out over power in, taken as the same both ways.
        resisting: true (or an array of it) while the pedals hold the wheel back.

    >>> round(gear_leverage(1.5, 0.96), 3), round(gear_leverage(1.5, 0.96, resisting=True), 3)
    (0.64, 0.694)
    """
    positive("gear_ratio", gear_ratio)
    _efficiency(gear_efficiency)
    if resisting is False:
        return gear_efficiency / gear_ratio
    if resisting is True:
        return 1.0 / (gear_efficiency * gear_ratio)
    return np.where(resisting, 1.0 / np.asarray(gear_efficiency), gear_efficiency) / gear_ratio


@formula(equation=r"\Lambda = \lambda + k", source="virtual_work", sign=_SIGN)
def leverage(gear_ratio: u.Ratio, assist_gain: u.Ratio, gear_efficiency: u.Ratio, resisting: bool = False) -> u.Ratio:
    """Wheel torque per crank torque through gear and assist together.

    Args:
        gear_ratio: wheel turns per crank turn.
        assist_gain: motor torque at the wheel per torque at the crank.
        gear_efficiency: power out over power in of the gear.
        resisting: true (or an array of it) while the pedals hold the wheel back.

    >>> round(leverage(1.5, 0.36, 0.96), 3)
    1.0
    """
    return gear_leverage(gear_ratio, gear_efficiency, resisting) + assist_gain


@formula(
    equation=r"1 - \frac{\eta}{G}\,\frac{L}{L_\mathrm{ref}}", source="virtual_work", sign="positive where the gear takes leverage away"
)
def leverage_loss(
    gear_ratio: u.Ratio,
    gear_efficiency: u.Ratio,
    crank_length: u.Metre | None = None,
    reference_crank_length: u.Metre | None = None,
) -> u.Ratio:
    """Share of the leverage of an ungeared wheel that is gone while the pedals drive.

    Args:
        gear_ratio: wheel turns per crank turn.
        gear_efficiency: power out over power in of the gear.
        crank_length: cranks of this wheel.
        reference_crank_length: cranks of the ungeared wheel it is compared with; the same when both are left out.

    >>> round(leverage_loss(1.5, 0.96), 3)
    0.36
    """
    return 1.0 - gear_leverage(gear_ratio, gear_efficiency) * _crank_share(crank_length, reference_crank_length)


@formula(
    equation=r"k_r = \frac{L_\mathrm{ref}}{L} - \frac{\eta}{G}",
    source="virtual_work",
    sign="below 0 where the wheel has more leverage than the reference",
)
def restoring_gain(
    gear_ratio: u.Ratio,
    gear_efficiency: u.Ratio,
    crank_length: u.Metre | None = None,
    reference_crank_length: u.Metre | None = None,
) -> u.Ratio:
    """Assist gain at which a foot force turns the wheel as on the ungeared wheel with the reference cranks.

    Args:
        gear_ratio: wheel turns per crank turn.
        gear_efficiency: power out over power in of the gear.
        crank_length: cranks of this wheel.
        reference_crank_length: cranks of the ungeared wheel; the same when both are left out.

    >>> round(restoring_gain(1.5, 0.96), 3), round(restoring_gain(1.5, 0.96, crank_length=0.125, reference_crank_length=0.15), 3)
    (0.36, 0.56)
    """
    return 1.0 / _crank_share(crank_length, reference_crank_length) - gear_leverage(gear_ratio, gear_efficiency)


@formula(equation=r"F = \frac{T}{L\,\Lambda}", source="virtual_work", sign="positive pushes the pedal forward around its circle")
def foot_force(wheel_torque: u.NewtonMetre, leverage: u.Ratio, crank_length: u.Metre) -> u.Newton:
    """Force along the pedal's circle that brings a torque to the wheel.

    Args:
        wheel_torque: torque wanted at the wheel.
        leverage: wheel torque per crank torque.
        crank_length: crank length.

    >>> round(foot_force(24.0, 0.64, 0.15), 1)
    250.0
    """
    positive("leverage", leverage)
    positive("crank_length", crank_length)
    return wheel_torque / (leverage * crank_length)


@formula(
    equation=r"F = \frac{T}{L\,\Lambda\,|\sin\varphi|}",
    source="virtual_work",
    sign="size of a force straight down; on the pedal in front it drives, on the pedal behind it resists",
    valid="inf at the dead centres, where no force straight down turns the crank",
)
def downward_force(wheel_torque: u.NewtonMetre, leverage: u.Ratio, crank_length: u.Metre, crank_angle: u.Radian) -> u.Newton:
    """Force straight down on one pedal that brings a torque to the wheel.

    Args:
        wheel_torque: torque wanted at the wheel, as a size.
        leverage: wheel torque per crank torque.
        crank_length: crank length.
        crank_angle: angle of either crank from top dead centre.

    >>> round(float(downward_force(24.0, 0.64, 0.15, 0.5235988)), 1)
    500.0
    """
    not_negative("wheel_torque", wheel_torque)
    positive("leverage", leverage)
    positive("crank_length", crank_length)
    lever = leverage * crank_length * np.abs(np.sin(crank_angle))
    blunt = lever < 1e-12 * leverage * crank_length  # sin(pi) is not quite 0
    return np.where(blunt, np.where(np.asarray(wheel_torque) > 0, np.inf, 0.0), wheel_torque / np.where(blunt, 1.0, lever))[()]


@formula(
    equation=r"\Delta T_p = \frac{T_m + T_d}{\lambda}",
    source="virtual_work",
    sign="positive where the rider must push harder; negative motor torque is a brake that is lost",
    valid="the wheel keeps its speed in the first moment, so the torque it needs has not changed",
)
def cut_out_step(motor_torque: u.NewtonMetre, motor_drag: u.NewtonMetre, gear_leverage: u.Ratio) -> u.NewtonMetre:
    """Pedal torque that the rider must supply at once when the motor stops.

    Args:
        motor_torque: what the motor gave the wheel before, already net of its drag.
        motor_drag: iron and friction torque that the dead motor still takes from the wheel.
        gear_leverage: wheel torque per crank torque through the gear alone, in the direction the pedals then work.

    >>> round(cut_out_step(20.0, 0.8, 0.64), 2)
    32.5
    """
    positive("gear_leverage", gear_leverage)
    return (motor_torque + motor_drag) / gear_leverage
