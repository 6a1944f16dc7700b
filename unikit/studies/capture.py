"""Which gust and which bump can this rider still catch at each speed, and up to which speed are the wanted ones covered?"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .. import units as u
from ..formulas import gearing
from ..inputs import Build, Case, Gear
from . import loop as loops
from .balance import inside, windows
from .catch import MACHINES, Envelope, Stand, envelope, stand
from .chance import riders
from .results import Result, shown

BUMP = 0.15  # m/s taken off at once by an edge or a hole; assumed: about what an edge of 12 mm takes at 4 m/s
FACTOR = 1.5  # a closed form must cover the wanted disturbance so many times: it is an estimate, not a bound
POINTS = 81
DRAWS, SEED = 200, 43
CALM = "nothing"


@dataclass(frozen=True)
class Capture(Result):
    """The capture envelope over speed and at the case's own speed, closed form, worst crank angle."""

    gear: str = shown("gear")
    balance_limited_speed: u.MetrePerSecond = shown("balance-limited speed", "km/h")
    ended_by: str = shown("ended by")
    limited_by: str = shown("what is short there")
    slowest_speed: u.MetrePerSecond = shown("covered from", "km/h")
    wanted_speed: u.MetrePerSecond = shown("wanted speed", "km/h")
    alone_speed: u.MetrePerSecond = shown("balance-limited speed, motor off", "km/h")
    ungeared_speed: u.MetrePerSecond = shown("balance-limited speed of the ungeared wheel", "km/h")
    wanted_gust: u.MetrePerSecond = shown("wanted: gust of the case", "m/s")
    wanted_bump: u.MetrePerSecond = shown("wanted: sudden loss of speed at a bump", "m/s", 2)
    factor: u.Ratio = shown("covered how many times")
    gust: u.MetrePerSecond = shown("gust that can be caught at the case's speed", "m/s")
    gust_way: str = shown("a gust pitches the body")
    bump: u.MetrePerSecond = shown("sudden loss of speed that can be caught", "m/s", 2)
    climb: u.Slope = shown("step of slope up that can be caught", "%")
    drop: u.Slope = shown("step of slope down that can be caught", "%")
    lean_rate: u.RadianPerSecond = shown("lean rate forward that can be caught", "deg/s", 0)
    lean_rate_back: u.RadianPerSecond = shown("lean rate backward that can be caught", "deg/s", 0)
    toppling_rate: u.RadianPerSecond = shown("toppling rate", "rad/s", 2)
    reaction_delay: u.Second = shown("rider's delay", "ms", 0)
    assumed: str = shown("assumed, not measured")
    speed: u.MetrePerSecond = shown("speed", "km/h")
    bump_assisted: u.MetrePerSecond = shown("loss of speed caught", "m/s", 3)
    bump_alone: u.MetrePerSecond = shown("motor off", "m/s", 3)
    bump_ungeared: u.MetrePerSecond = shown("ungeared wheel", "m/s", 3)
    gust_assisted: u.MetrePerSecond = shown("gust caught", "m/s", 2)
    gust_alone: u.MetrePerSecond = shown("gust, motor off", "m/s", 2)
    gust_ungeared: u.MetrePerSecond = shown("gust, ungeared wheel", "m/s", 2)
    climb_over_speed: u.Slope = shown("step of slope up", "%", 2)
    drop_over_speed: u.Slope = shown("step of slope down", "%", 2)
    lean_rate_over_speed: u.RadianPerSecond = shown("lean rate forward", "deg/s")
    lean_rate_back_over_speed: u.RadianPerSecond = shown("lean rate backward", "deg/s")
    motor_share: u.Ratio = shown("motor's part of the catch forward", "%", 0)
    covered: u.Ratio = shown("caught over wanted and factor, the worse of gust and bump", digits=2)
    covered_alone: u.Ratio = shown("the same, motor off", digits=2)
    covered_ungeared: u.Ratio = shown("the same, ungeared wheel", digits=2)
    doubt: Doubt | None = None


@dataclass(frozen=True)
class Limit:
    """The last stretch of speeds at which all that is wanted is covered; nan where there is none."""

    fastest: u.Values
    slowest: u.Values
    worst: np.ndarray  # margin over speed
    place: np.ndarray  # of the wanted disturbance that ends it


def study(build: Build, case: Case, gear: Gear | None = None, bump: float = BUMP, fastest: float | None = None) -> Capture:
    """The capture envelope of a gear over speed, against the motor off and the ungeared wheel.

    Balance-limited speed is the largest speed at which the case's gust and a
    bump that takes ``bump`` off the speed are both covered with the factor.
    It is nan where no speed is covered.  The rider's missing numbers are taken
    in the middle of their ranges and named.
    """
    assumed = loops.assumed(build)
    build = loops.completed(build)
    gear = build.gears.named(None if gear is None else gear.name)
    speed = _speeds(build, gear, fastest)
    stands = {name: stand(build, case, gear, name, np.append(speed, case.speed)) for name in MACHINES}
    every = {name: envelope(build, case, one) for name, one in stands.items()}
    over = {name: Envelope(*(part[:-1] if np.ndim(part) else part for part in vars(one).values())) for name, one in every.items()}
    limits = {name: limit(speed, one, case.gust, bump) for name, one in over.items()}
    main, main_stand, end = over["assisted"], stands["assisted"], limits["assisted"]
    here = every["assisted"]
    by, short = _ending(end, main, main_stand, speed, case.gust, bump)
    motor_part = main_stand.forward.motor[:-1]
    added = main_stand.forward.legs[:-1] + motor_part
    return Capture(
        gear=gear.name,
        balance_limited_speed=float(end.fastest),
        ended_by=by,
        limited_by=short,
        slowest_speed=float(end.slowest),
        wanted_speed=case.wanted_speed,
        alone_speed=float(limits["alone"].fastest),
        ungeared_speed=float(limits["ungeared"].fastest),
        wanted_gust=case.gust,
        wanted_bump=bump,
        factor=FACTOR,
        gust=float(here.gust[-1]),
        gust_way="back" if here.gust_pitches_back else "forward",
        bump=float(here.bump[-1]),
        climb=float(here.climb[-1]),
        drop=float(here.drop[-1]),
        lean_rate=float(here.lean_rate[-1]),
        lean_rate_back=float(here.lean_rate_back[-1]),
        toppling_rate=float(main_stand.rate[-1]),
        reaction_delay=build.rider.reaction_delay,
        assumed=loops.in_words(assumed),
        speed=speed,
        bump_assisted=main.bump,
        bump_alone=over["alone"].bump,
        bump_ungeared=over["ungeared"].bump,
        gust_assisted=main.gust,
        gust_alone=over["alone"].gust,
        gust_ungeared=over["ungeared"].gust,
        climb_over_speed=main.climb,
        drop_over_speed=main.drop,
        lean_rate_over_speed=main.lean_rate,
        lean_rate_back_over_speed=main.lean_rate_back,
        motor_share=motor_part / np.where(added > 0, added, 1.0),
        covered=end.worst,
        covered_alone=limits["alone"].worst,
        covered_ungeared=limits["ungeared"].worst,
    )


def _speeds(build: Build, gear: Gear, fastest: float | None, points: int = POINTS) -> np.ndarray:
    """Speeds up to the one at which the legs have nothing left in this gear."""
    if fastest is None:
        cadence = build.rider.zero_torque_cadence * build.cranks.reference_length / build.cranks.length
        fastest = float(np.max(gearing.speed(cadence, build.wheel.radius, gear.ratio)))
    if not fastest > 0:
        raise ValueError(f"fastest must be a speed above 0, got {fastest}")
    return np.linspace(0.0, fastest, points)


def limit(speed: np.ndarray, found: Envelope, gust: u.Values, bump: u.Values) -> Limit:
    """Where the wanted gust and bump are covered with the factor; speeds run along the first axis."""
    with np.errstate(divide="ignore", invalid="ignore"):
        margins = np.stack(
            [
                np.where(np.asarray(wanted) > 0, caught / (FACTOR * np.asarray(wanted)), np.inf)
                for caught, wanted in ((found.gust, gust), (found.bump, bump))
            ]
        )
    worst = np.minimum(margins.min(axis=0), 10.0)
    column = np.moveaxis(worst, 0, -1)
    good = column >= 1
    last = good.shape[-1] - 1 - np.argmax(good[..., ::-1], axis=-1)
    none = ~good.any(axis=-1)
    below = np.arange(good.shape[-1]) <= last[..., None]
    before = np.where(below & ~good, np.arange(good.shape[-1]), -1).max(axis=-1)
    fastest = _crossing(speed, column, last, np.minimum(last + 1, len(speed) - 1))
    slowest = _crossing(speed, column, np.minimum(before + 1, len(speed) - 1), np.maximum(before, 0))
    place = np.take_along_axis(np.moveaxis(margins.argmin(axis=0), 0, -1), np.minimum(last + 1, len(speed) - 1)[..., None], axis=-1)
    return Limit(np.where(none, np.nan, fastest), np.where(none, np.nan, slowest), worst, place[..., 0])


def _crossing(speed: np.ndarray, column: np.ndarray, inside: np.ndarray, outside: np.ndarray) -> np.ndarray:
    """Speed at which the margin is 1 between a covered and an uncovered point; the covered one where both are the same."""
    high, low = (np.take_along_axis(column, place[..., None], axis=-1)[..., 0] for place in (inside, outside))
    drop = high - low
    share = np.where(drop > 0, (high - 1) / np.where(drop > 0, drop, 1.0), 0.0)
    return speed[inside] + np.clip(share, 0.0, 1.0) * (speed[outside] - speed[inside])


def _ending(end: Limit, found: Envelope, stands: Stand, speed: np.ndarray, gust: float, bump: float) -> tuple[str, str]:
    """Which disturbance ends the covered speeds, and what is short there."""
    if np.isnan(end.fastest):
        place = int(np.argmax(end.worst))
        gusts = found.gust[place] / max(gust, 1e-9) < found.bump[place] / max(bump, 1e-9)
        return f"the {'gust' if gusts else 'bump'}, at every speed", _short(stands, bool(gusts and found.gust_pitches_back), place)
    if end.fastest >= speed[-1]:
        return f"{CALM}, up to the end of the speeds", CALM
    gusts = int(end.place) == 0
    return "the gust" if gusts else "the bump", _short(
        stands, bool(gusts and found.gust_pitches_back), int(np.searchsorted(speed, end.fastest))
    )


def _short(stands: Stand, back: bool, place: int) -> str:
    """Whether legs or motor are at their end in the catch."""
    way = stands.backward if back else stands.forward
    place = min(place, np.size(way.pedals) - 1)
    clipped = np.ravel(way.asked)[place] > np.ravel(way.motor)[place] * (1 + 1e-9)
    return "legs and motor reserve" if clipped else "legs at this cadence"


@dataclass(frozen=True)
class Doubt(Result):
    """Balance-limited speed over the stated and assumed uncertainty of build and rider; a draw without any such speed counts as zero."""

    gear: str = shown("gear")
    draws: u.Number = shown("riders drawn", digits=0)
    low: u.MetrePerSecond = shown("balance-limited speed, lowest twentieth", "km/h")
    middle: u.MetrePerSecond = shown("balance-limited speed, median", "km/h")
    high: u.MetrePerSecond = shown("balance-limited speed, highest twentieth", "km/h")
    alone_middle: u.MetrePerSecond = shown("median with the motor off", "km/h")
    ungeared_middle: u.MetrePerSecond = shown("median of the ungeared wheel", "km/h")
    covers_wanted: u.Ratio = shown("of these riders are covered up to the wanted speed", "%", 0)
    habitual: str = shown("habitual rider as built")
    habitual_alone: str = shown("habitual rider, motor off")
    assumed: str = shown("assumed, not measured")
    speed: u.MetrePerSecond = shown("speed", "km/h")
    chance: u.Ratio = shown("share of riders who are covered", "%", 1)


def doubt(
    build: Build, case: Case, gear: Gear | None = None, bump: float = BUMP, count: int = DRAWS, seed: int = SEED, points: int = 61
) -> Doubt:
    """The same over ``count`` seeded draws of all uncertain numbers."""
    drawn = riders(build, count, seed)
    gear = drawn.gears.named(None if gear is None else gear.name)
    speed = _speeds(drawn, gear, None, points)
    found = {name: limit(speed, _drawn(drawn, case, gear, name, speed, count), case.gust, bump) for name in MACHINES}
    reached = {name: np.nan_to_num(one.fastest, nan=0.0) for name, one in found.items()}
    low, middle, high = np.quantile(reached["assisted"], (0.05, 0.5, 0.95))
    balances = habitual(build, case, gear)
    return Doubt(
        gear=gear.name,
        draws=count,
        low=float(low),
        middle=float(middle),
        high=float(high),
        alone_middle=float(np.median(reached["alone"])),
        ungeared_middle=float(np.median(reached["ungeared"])),
        covers_wanted=float((reached["assisted"] >= case.wanted_speed).mean()),
        habitual=balances[0],
        habitual_alone=balances[1],
        assumed=loops.in_words(loops.assumed(build)),
        speed=speed,
        chance=(found["assisted"].worst >= 1).mean(axis=1),
    )


def _drawn(drawn: Build, case: Case, gear: Gear, machine: str, speed: np.ndarray, count: int) -> Envelope:
    found = envelope(drawn, case, stand(drawn, case, gear, machine, speed[:, None]))
    spread = np.zeros((len(speed), count))
    return Envelope(**{name: value + (0 if name == "gust_pitches_back" else spread) for name, value in vars(found).items()})


def habitual(build: Build, case: Case, gear: Gear | None = None) -> tuple[str, str]:
    """Whether the rider who does as on the ungeared wheel balances at all: as built, and with the motor off.

    The closed form takes the legs to their limit whatever their habit; a rider
    whose loop is not stable does not get there.
    """
    build = loops.completed(build)
    loop = loops.loop(build, case, build.gears.named(None if gear is None else gear.name))
    found = windows(loop)
    ways = ((loop.driving_gain, loop.resisting_gain), (0.0, 0.0))
    return tuple("balances" if all(inside(*pair) for pair in zip(found, gains, strict=True)) else "does not balance" for gains in ways)


def speed_margins(build: Build, case: Case, gear: Gear, count: int, seed: int, points: int = 31) -> np.ndarray:
    """Balance-limited speed over the wanted speed for draws of all uncertain numbers; zero for a draw without any such speed."""
    drawn = riders(build, count, seed)
    gear = drawn.gears.named(gear.name)
    speed = _speeds(drawn, gear, None, points)
    reached = np.nan_to_num(limit(speed, _drawn(drawn, case, gear, "assisted", speed, count), case.gust, BUMP).fastest, nan=0.0)
    return reached / case.wanted_speed if case.wanted_speed > 0 else np.full(count, np.inf)


def speed_margin(build: Build, case: Case, gear: Gear | None = None, bump: float = BUMP) -> tuple[float, str]:
    """Balance-limited speed over the wanted speed, and what ends it in words; the factor of the closed form is in the speed."""
    found = study(build, case, gear, bump)
    if np.isnan(found.balance_limited_speed):
        return 0.0, f"no speed: {found.ended_by}"
    margin = found.balance_limited_speed / case.wanted_speed if case.wanted_speed > 0 else float("inf")
    return margin, f"{found.ended_by} at {3.6 * found.balance_limited_speed:.1f} km/h"
