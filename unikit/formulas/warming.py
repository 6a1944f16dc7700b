"""The course of the temperatures of a motor's bodies over a ride: losses, speed, air and sunshine that change, and derating in the loop."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from .. import units as u
from ._warming import NEVER, Load, March, Winding, blockwise, serial
from .checks import not_negative, positive
from .network import balance, checked
from .registry import formula

FINE = 0.25  # of the fastest time constant: a step this long errs by less than 1e-5 of what is still on its way
STEADY = 1.5  # of the time constant that derating gives the winding
MOST_PARTS = 1000
FEW = 5  # networks up to which blocks of time are marched side by side
SHORT = 120  # steps below which that does not pay


class Course(NamedTuple):
    """Temperatures over time, and where all heat came from and went, over the whole course."""

    time: u.Second
    temperature: u.Kelvin
    copper_heat: u.Joule
    other_heat: u.Joule
    carried: u.Joule


@formula(
    equation=r"\mathbf{C}\,\dot{\mathbf{T}} = \mathbf{P}(t) - \mathbf{L}(t)\,(\mathbf{T} - T_\infty(t)) + \mathbf{e}_w\,P_\mathrm{Cu},"
    r"\quad P_\mathrm{Cu} = \min\left(\frac{P_{20}(t, s)}{[1+\beta(T_m-T_{m0})]^2}, P_\mathrm{max}(t)\right)[1+\alpha(T_w-T_0)],"
    r"\quad s = \min\left(1, H(t)\,\frac{T_e - T_w}{T_e - T_s}\right) \ge 0",
    source="incropera",
    sign="losses positive into the body; heat carried from row to column positive",
    valid="everything that is given by steps is constant within each; steps are cut where bodies are quicker",
)
def network_course(
    step: u.Second,
    steps: u.Number,
    capacity: u.JoulePerKelvin,
    conductance: u.WattPerKelvin,
    losses: u.Watt,
    copper_loss: u.Watt,
    ambient: u.Kelvin,
    start: u.Kelvin,
    winding: u.Number = 0,
    magnets: u.Number = 0,
    loss_growth: u.PerKelvin = 0.0,
    loss_reference: u.Kelvin = 293.15,
    flux_growth: u.PerKelvin = 0.0,
    flux_reference: u.Kelvin = 293.15,
    least_flux: u.Ratio = 0.01,
    copper_limit: u.Watt = np.inf,
    headroom: u.Ratio = 1.0,
    derating_start: u.Kelvin = np.inf,
    derating_end: u.Kelvin = np.inf,
    every: u.Number = 1,
) -> Course:
    """Temperatures of a network of bodies over a ride, with derating in the loop.

    What changes during the ride has an axis of steps (of length 1 where it does
    not change), and after it an axis of bodies, or two for conductances; the
    axes before it broadcast over many rides, which are marched side by side.
    The last temperatures are the start of what follows.

    Args:
        step: length of each step.
        steps: number of steps.
        capacity: heat capacity of each body, (..., bodies).
        conductance: links between bodies and, on the diagonal, to the ambient, (..., steps, bodies, bodies).
        losses: heat into each body that does not depend on its temperature, (..., steps, bodies).
        copper_loss: at both references, (..., steps, knots): one for each torque that is left of the peak asked, from none
            to all in equal parts, with smooth curves between; three make the parabola of a steady torque, one is never cut.
        ambient: temperature of the air, (..., steps).
        start: temperature of each body at the start, (..., bodies).
        winding: index of the body that has the copper loss.
        magnets: index of the body that has the magnets.
        loss_growth: growth of the copper loss with the winding's temperature, of that at its reference.
        loss_reference: temperature of the winding for which the copper loss is given.
        flux_growth: growth of the magnets' flux with their temperature, of that at its reference; the current goes against it.
        flux_reference: temperature of the magnets for which the copper loss is given.
        least_flux: share of the flux below which it is not followed.
        copper_limit: greatest copper loss at its reference, set by a limit of the current, (..., steps).
        headroom: greatest torque before derating over the peak that is asked, (..., steps); below 1 counts as 1.
        derating_start: temperature of the winding at which derating begins; never when left out.
        derating_end: temperature of the winding at which nothing is left.
        every: number of steps from one record to the next.

    >>> course = network_course(60.0, 10, [400.0, 3000.0], [[[0.0, 5.0], [5.0, 2.0]]], [[0.0, 20.0]], [[60.0]], [0.0], [0.0, 0.0])
    >>> course.temperature[-1].round(4).tolist()
    [21.55, 10.9766]
    """
    steps, every = _whole("steps", steps), _whole("every", every)
    if steps % every:
        raise ValueError(f"every must divide the number of steps, {steps}, got {every}")
    positive("step", step)
    positive("capacity", capacity)
    conductance = checked(conductance)
    bodies = conductance.shape[-1]
    winding, magnets = (_body(name, value, bodies) for name, value in (("winding", winding), ("magnets", magnets)))
    given = {
        "capacity": (capacity, (bodies,)),
        "start": (start, (bodies,)),
        "conductance": (conductance, (None, bodies, bodies)),
        "losses": (losses, (None, bodies)),
        "copper_loss": (copper_loss, (None, np.shape(copper_loss)[-1] if np.ndim(copper_loss) else 0)),
        "ambient": (ambient, (None,)),
        "copper_limit": (np.atleast_1d(copper_limit), (None,)),
        "headroom": (np.maximum(np.atleast_1d(headroom), 1.0), (None,)),
    }
    numbers = {
        "loss_growth": loss_growth,
        "loss_reference": loss_reference,
        "flux_growth": flux_growth,
        "flux_reference": flux_reference,
        "derating_start": derating_start,
        "derating_end": derating_end,
    }
    not_negative("copper_loss", copper_loss)
    not_negative("copper_limit", copper_limit)
    not_negative("headroom", headroom)
    lead = np.broadcast_shapes(
        *(_shape(name, value, inner, steps) for name, (value, inner) in given.items()), *(np.shape(value) for value in numbers.values())
    )
    number = int(np.prod(lead))
    whole = {name: _columns(value, len(inner), lead) for name, (value, inner) in given.items()}
    single = {name: _columns(value, 0, lead) for name, value in numbers.items()}
    begins, ends = single["derating_start"], single["derating_end"]
    cut = np.isfinite(begins)
    if np.any((ends <= begins) & cut):
        raise ValueError("derating_end must be above derating_start")
    if np.any(cut & ~np.isfinite(ends)):
        raise ValueError("derating_end must be a temperature, since derating_start is one")
    ends = np.where(cut, ends, NEVER)
    load, incidence, to_air = _load(whole, np.where(cut, ends - begins, 1.0))
    law = Winding(
        winding,
        magnets,
        (1 - single["loss_growth"] * single["loss_reference"], single["loss_growth"]),
        (1 - single["flux_growth"] * single["flux_reference"], single["flux_growth"]),
        least_flux,
        ends,
        _lowest(load.curve),
    )
    parts = _parts(step, whole, load, law)
    begin = np.broadcast_to(whole["start"], (bodies, number)).copy()

    limited = bool(np.isfinite(whole["copper_limit"]).any())
    per_capacity = 1.0 / np.broadcast_to(whole["capacity"], (bodies, number))

    def make(times: int) -> March:
        if number == 1:
            return March(per_capacity, times, law, incidence, to_air, limited)
        return March(np.tile(per_capacity, times), number * times, law.tiled(times), incidence, to_air, limited)

    with np.errstate(over="ignore", invalid="ignore"):
        if number <= FEW and steps >= SHORT:
            path = blockwise(make, load, begin, steps, step, parts)
            path = path and path._replace(temperature=path.temperature[::every])
        else:
            path = serial(make(1), load, begin, steps, step, parts, every)
    if path is None or not np.all(np.isfinite(path.temperature[-1])):
        raise ValueError("steps must end at finite temperatures: the losses run away with temperature before it")
    carried = np.zeros((number, bodies, bodies))
    for link, flow in zip(incidence, path.flows, strict=True):
        (one,), other = np.flatnonzero(link > 0), np.flatnonzero(link < 0)
        if other.size:
            carried[:, one, other[0]], carried[:, other[0], one] = flow, -flow
        else:
            carried[:, one, one] = flow
    other_heat = np.broadcast_to(whole["losses"].sum(axis=0) * (step if len(whole["losses"]) > 1 else step * steps), (bodies, number))
    return Course(
        time=step * every * np.arange(steps // every + 1),
        temperature=np.moveaxis(path.temperature, -1, 0).reshape(*lead, steps // every + 1, bodies),
        copper_heat=path.copper.reshape(lead)[()],
        other_heat=other_heat.T.reshape(*lead, bodies),
        carried=carried.reshape(*lead, bodies, bodies),
    )


def _whole(name: str, value: float) -> int:
    if int(value) != value or value < 1:
        raise ValueError(f"{name} must be a whole number of 1 or above, got {value}")
    return int(value)


def _body(name: str, value: float, bodies: int) -> int:
    if int(value) != value or not 0 <= value < bodies:
        raise ValueError(f"{name} must be a whole number from 0 to {bodies - 1}, got {value}")
    return int(value)


def _shape(name: str, value, inner: tuple, steps: int) -> tuple[int, ...]:
    """Axes of an argument that belong to many rides; its own must fit bodies and steps."""
    found = np.shape(value)[-len(inner) :] if np.ndim(value) >= len(inner) else ()
    if len(found) != len(inner) or any(
        size not in (1, steps) if wanted is None else size != wanted for size, wanted in zip(found, inner, strict=True)
    ):
        words = ", ".join(f"1 or {steps}" if wanted is None else str(wanted) for wanted in inner)
        raise ValueError(f"the last axes of {name} must be ({words}), got shape {np.shape(value)}")
    return np.shape(value)[: -len(inner)]


def _columns(value, own: int, lead: tuple[int, ...]) -> np.ndarray:
    """An argument with its rides along the last axis: all of them, or one for all."""
    array = np.asarray(value, float)
    inner = array.shape[array.ndim - own :]
    if int(np.prod(array.shape[: array.ndim - own])) == 1:
        return array.reshape(*inner, 1)
    return np.moveaxis(np.broadcast_to(array, lead + inner).reshape(-1, *inner), 0, -1)


def _load(whole: dict[str, np.ndarray], band: np.ndarray) -> tuple[Load, np.ndarray, int]:
    """The equations of each step, and the links that there are: rows of 1 at one end and -1 at the other, if that is not the ambient."""
    conductance = whole["conductance"]
    by_ride = np.moveaxis(conductance, -1, 1)
    to_ambient = np.moveaxis(np.diagonal(by_ride, axis1=-2, axis2=-1), 1, -1)
    there = conductance.any(axis=(0, -1))
    ends = sorted(((i, j) for i, j in np.argwhere(there) if i <= j), key=lambda pair: pair[0] == pair[1])  # those to the ambient last
    one, other = np.array(ends).T
    to_air = int(np.sum(one != other))
    incidence = np.zeros((one.size, len(there)))
    incidence[np.arange(one.size), one] = 1.0
    incidence[np.arange(to_air), other[:to_air]] = -1.0
    load = Load(
        matrix=-np.moveaxis(balance(by_ride), 1, -1),
        source=whole["losses"] + to_ambient * whole["ambient"][:, None],
        full=whole["copper_loss"][:, -1],
        curve=_pieces(whole["copper_loss"]),
        span=band / whole["headroom"],
        limit=whole["copper_limit"],
        link=conductance[:, one, other],
        ambient=whole["ambient"],
    )
    return load, incidence, to_air


def _pieces(level: np.ndarray) -> np.ndarray:
    """Polynomials between the knots along the second axis, highest power first; cubic ones share the slope where two meet."""
    if level.shape[1] == 1:
        return np.stack([0 * level, level], axis=1)
    if level.shape[1] < 4:
        first, middle, last = level[:, 0], level[:, 1] if level.shape[1] == 3 else level.mean(axis=1), level[:, -1]
        return np.stack([2 * (first + last) - 4 * middle, 4 * middle - 3 * first - last, first], axis=1)[:, :, None]
    rise = np.diff(level, axis=1)
    slope = np.concatenate(
        [1.5 * rise[:, :1] - 0.5 * rise[:, 1:2], (rise[:, 1:] + rise[:, :-1]) / 2, 1.5 * rise[:, -1:] - 0.5 * rise[:, -2:-1]], axis=1
    )
    first, last = slope[:, :-1], slope[:, 1:]
    return np.stack([first + last - 2 * rise, 3 * rise - 2 * first - last, first, level[:, :-1]], axis=1)


def _lowest(curve: np.ndarray) -> int:
    """Powers of a single piece that are nothing in all steps, from the lowest on; the torque 0 has no loss as a rule."""
    if curve.shape[2] > 1:
        return 0
    used = np.flatnonzero(curve.any(axis=(0, 2, 3)))
    return curve.shape[1] - 1 - int(used[-1]) if used.size else 0


def _parts(step: float, whole: dict[str, np.ndarray], load: Load, law: Winding) -> int:
    """Parts of each step that follow the quickest body, and stay steady on the derating's slope."""
    most = whole["conductance"].max(axis=0)  # more links make nothing slower
    root = np.sqrt(whole["capacity"])
    scaled = balance(np.moveaxis(most, -1, 0)) / np.moveaxis(root[:, None] * root[None], -1, 0)
    fastest = np.linalg.eigvalsh(scaled)[..., -1].max()
    steepest = np.abs(np.diff(whole["copper_loss"], axis=1) / load.span[:, None]).max(axis=(0, 1), initial=0.0)
    steepest = 2 * steepest * (whole["copper_loss"].shape[1] - 1)  # watts per kelvin; between two knots a parabola is up to twice as steep
    warm = np.where(law.end < NEVER, law.resistance[0] + law.resistance[1] * law.end, 0.0)
    steepest = np.max(steepest * warm / whole["capacity"][law.winding])
    parts = int(np.ceil(max(step * fastest / FINE, step * (fastest + steepest) / STEADY, 1.0)))
    if parts > MOST_PARTS:
        raise ValueError(f"step must be below {MOST_PARTS * step / parts:.3g} s: the quickest body follows within {1 / fastest:.3g} s")
    return parts
