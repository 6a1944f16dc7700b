"""Everything a build can and cannot do, as findings: every gear in every case."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from ..formulas import leverage as levers
from ..formulas import pack, road
from ..inputs import Build, Case, Gear
from . import capture, chance, cut_out, gearing, heat, hold, legs_alone, leverage, motor, parts, reach, ride
from . import drive as electric
from . import loop as loops
from .findings import FINDINGS, judged
from .legs import greatest_torque
from .rules import NOT_DETERMINED, assessment, look_up
from .split import assist_gain
from .verdicts import HOLDS, NO_LEAN, SHORT, TIGHT, UNKNOWN, Finding, ratio

if TYPE_CHECKING:
    import pandas

RIDERS = 128  # draws for a finding
DRAWS = 256  # of build and case for a range

CAUTIONS = (
    "Margins are arithmetic on your numbers. Nothing here was validated on a machine or a person; no margin means riding without danger.",
    "Balance is judged fore and aft only, for a rigid rider who does what the ungeared wheel has taught; no steering, no sideways fall.",
    "First trials: zero assist, low speed, protective equipment, soft ground, a helper. Local law and qualified advice come first.",
    "Lithium packs, hot motors and high currents burn: fuse, insulate and test them with someone who knows how.",
    "Teeth, axle, torque arm and bearings are first-order checks; a shop drawing needs a licensed or competent engineer.",
    "Packs on an aircraft: operator and state rules prevail.",
)


@dataclass(frozen=True)
class Review:
    """All findings of a build."""

    build: str
    findings: tuple[Finding, ...]
    notes: tuple[str, ...]

    def table(self) -> pandas.DataFrame:
        """One row for each finding."""
        import pandas

        columns = ("finding", "case", "gear", "margin", "verdict", "limited by", "what would move it", "studied in")
        rows = [(f.key, f.case, f.gear, f.margin, f.verdict, f.limited_by, f.moved_by, f.studied_in) for f in self.findings]
        return pandas.DataFrame(rows, columns=list(columns))

    def count(self, verdict: str) -> int:
        """How many findings carry a verdict."""
        return sum(f.verdict == verdict for f in self.findings)

    def summary(self) -> dict[str, str]:
        """The counts, and the narrowest finding."""
        lines = {word: str(self.count(word)) for word in (HOLDS, TIGHT, SHORT, UNKNOWN)}
        known = [f for f in self.findings if f.verdict != UNKNOWN]
        if known:
            worst = min(known, key=lambda f: f.margin / FINDINGS[f.key].holds)
            lines["narrowest"] = f"{worst.key}, {_place(worst.case, worst.gear)}: {worst.margin:.2f}, {worst.limited_by}"
        return lines

    def __str__(self) -> str:
        lines = [f"Review of {self.build}", ""]
        width, name = (max((len(getattr(f, part)) for f in self.findings), default=10) for part in ("limited_by", "key"))
        for case, gear in dict.fromkeys((f.case, f.gear) for f in self.findings):
            lines.append(_place(case, gear))
            for f in self.findings:
                if (f.case, f.gear) == (case, gear):
                    margin = "-" if np.isnan(f.margin) else f"{f.margin:.2f}" if f.margin < 100 else "> 99"
                    lines.append(f"  {f.verdict:8}{margin:>6}  {f.key:{name}} {f.limited_by:{width}}  see {f.studied_in}")
            lines.append("")
        moves = {f.key: f.moved_by for f in self.findings if f.verdict in (SHORT, TIGHT)}
        if moves:
            lines += ["What would move the short and tight ones", *(f"  {key:{name}} {text}" for key, text in moves.items()), ""]
        lines += [*(f"Note: {note}" for note in self.notes), *(f"Caution: {text}" for text in CAUTIONS)]
        return "\n".join(lines)


def _place(case: str, gear: str) -> str:
    """Case and gear of a finding in words."""
    case = "All cases" if case == parts.ANY else case
    return case if gear == "-" else f"{case}, gear {gear}"


def review(
    build: Build,
    cases: Iterable[Case],
    gears: Iterable[Gear] | None = None,
    riders: int = RIDERS,
    speeds: gearing.Gearing | None = None,
    of_parts: bool = True,
) -> Review:
    """Gather the findings of every gear that can be engaged (or of the given ones), in every case.

    Findings on balance are judged over ``riders`` draws; with none they are left out, because they take longest.
    Who asks for one gear in one case, and has its gearing study already, gives it as ``speeds``.  Findings on
    hub, sensing chain, packs and wiring take the worst of the cases; a panel that shows the ride alone leaves them out.
    """
    found: list[Finding] = []
    notes: list[str] = []
    cases, gears = list(cases), list(build.gears.gear if gears is None else gears)
    for case in cases:
        for gear in gears:
            found += _of_case(build, case, gear, riders, speeds)
    if of_parts:
        found += parts.of_gears(build, cases, gears)
    found += _of_build(build)
    if of_parts:
        found += parts.of_build(build)
    for key in dict.fromkeys(case.rules for case in cases):
        found.append(_rules(build, key, notes))
    missing = [name for name in ("motor", "packs") if getattr(build, name) is None]
    if missing:
        notes.append(f"No {' and no '.join(missing)} in this build: findings about them are left out.")
    if build.spreads:
        notes.append(
            f"{len(build.spreads)} numbers are stated with uncertainty; findings take their middle, balance and range draw from them."
        )
    if riders and loops.assumed(build):
        notes.append(
            f"Assumed for balance because the build does not say it: {loops.in_words(loops.assumed(build))}. Findings on balance are taken "
            f"over {riders} draws; measure the rider to narrow them."
        )
    return Review(build.name, tuple(found), tuple(notes))


def _of_case(build: Build, case: Case, gear: Gear, riders: int, speeds: gearing.Gearing | None) -> list[Finding]:
    """Findings of one gear in one case."""
    speeds = speeds or gearing.study(build, case, gear)
    felt = leverage.study(build, case, gear)
    steady = ride.study(build, case, gear)
    crank = felt.foot_force * build.cranks.length

    def add(key: str, margin: float, limited_by: str) -> None:
        found.append(judged(key, case.name, gear.name, margin, limited_by))

    found: list[Finding] = []
    add("pace", ratio(speeds.comfortable_speed, case.wanted_speed), f"{speeds.comfortable_by} at {_kmh(speeds.comfortable_speed)}")
    add("top speed", ratio(speeds.greatest_speed, case.speed), f"{speeds.greatest_by} at {_kmh(speeds.greatest_speed)}")
    lower, direction = _worse_leverage(build, gear)
    add("leverage", lower, f"{100 * lower:.0f} % left, {direction}")
    able = float(greatest_torque(build, speeds.cadence, crank < 0))
    add("push", ratio(able, abs(crank)), f"legs {'hold back' if crank < 0 else 'give'} {able:.0f} N·m, {abs(crank):.0f} N·m asked")
    add("endurance", ratio(steady.endurance, case.duration), _leg_words(steady.leg_power))
    if riders:
        _of_balance(build, case, gear, riders, found)
    if build.motor is not None:
        _of_motor(build, case, gear, speeds, felt, steady, add)
        if riders:
            _of_distance(build, case, gear, add)
    return found


def _of_distance(build: Build, case: Case, gear: Gear, add: Callable[[str, float, str], None]) -> None:
    """Findings on the whole of the way: energy with its doubt, heat in time, and legs that are left alone."""
    far = ride.reach(build, case, gear, DRAWS)
    share = f"{100 * far.chance:.0f} ± {100 * far.chance_error:.0f} of 100" if 0 < far.chance < 1 else ("all" if far.chance else "none of")
    chance_of_it = f"{share} {'' if 0 < far.chance < 1 else f'{DRAWS} '}draws last {case.distance / 1000:.1f} km"
    add("getting home", ratio(far.likely, case.distance), chance_of_it)
    held = hold.hold(build, case, gear=gear)
    lasts = f"{held.ended_by} after {held.time / 60:.0f} min" if np.isfinite(held.time) else "heat never ends it"
    add("climb", ratio(float(held.time), case.duration), lasts)
    alone = legs_alone.study(build, case, gear)
    words = f"{_leg_words(alone.leg_power)} at {_kmh(alone.speed)}" if alone.margin > 0 else "the legs do not turn the cranks"
    add("legs alone", alone.margin, words)


def _of_balance(build: Build, case: Case, gear: Gear, riders: int, found: list[Finding]) -> None:
    """Findings that depend on a rider whom hardly anybody has measured: judged over draws."""
    try:
        margins = _over_riders(build, case, gear, riders)
    except ValueError as error:
        if not str(error).startswith(NO_LEAN):
            raise
        keys = ("gain window", "balance margin", "balance speed", *(("dead time", "cut-out catch", "trim loss") if build.motor else ()))
        found += [judged(key, case.name, gear.name, np.nan, f"{NO_LEAN} this ride") for key in keys]
        return
    for key, (values, words) in margins.items():
        rule = FINDINGS[key]
        margin, verdict, holding = rule.over(values)
        found.append(Finding(key, case.name, gear.name, margin, verdict, f"{words}, {holding} hold", rule.moved_by, rule.studied_in))


def _over_riders(build: Build, case: Case, gear: Gear, riders: int) -> dict[str, tuple[np.ndarray, str]]:
    """Margins of each draw and words for what limits them."""
    draws = chance.judged(build, case, gear, riders)
    inside = f"{int(100 * (draws.edges > 0).mean())} of 100 riders inside"
    margins = {
        "gain window": (draws.edges, inside),
        "balance margin": (draws.share, f"{100 * np.median(draws.share):.0f} % of ungeared in the median"),
        "balance speed": (capture.speed_margins(build, case, gear, riders, chance.SEED), capture.speed_margin(build, case, gear)[1]),
    }
    if build.motor is None:
        return margins
    assisted = assist_gain(build, gear) + assist_gain(build, gear, resisting=True) > 0 and build.sensor is not None
    if assisted:
        margins["dead time"] = draws.dead_time, f"{1000 * build.sensor.dead_time:.0f} ms as built"
    else:
        margins["dead time"] = np.full(riders, np.inf), "no assist that could be late"
    # The same riders as above: who does not balance the gear alone must be the one who catches nothing.
    lost, trim = cut_out.margins(build, case, gear, riders, chance.SEED)
    alone = f"{int(100 * draws.alone.mean())} of 100 balance the gear alone"
    single = cut_out.cut_out_margin(build, case, gear)[1], cut_out.trim_margin(build, case, gear)[1]
    for key, values, words in zip(("cut-out catch", "trim loss"), (lost, trim), single, strict=True):
        # Who does not balance the gear alone does not catch anything with it.
        counted = np.where(draws.alone | np.isinf(values), values, 0.0)
        margins[key] = counted, words if np.array_equal(counted, values) else alone
    return margins


def _worse_leverage(build: Build, gear: Gear) -> tuple[float, str]:
    """Share of the ungeared wheel's leverage that is left, in the direction where less is left."""
    cranks = build.cranks.length / build.cranks.reference_length
    driving = levers.leverage(gear.ratio, assist_gain(build, gear), gear.efficiency) * cranks
    resisting = levers.leverage(gear.ratio, assist_gain(build, gear, resisting=True), gear.efficiency, resisting=True) * cranks
    return (driving, "driving") if driving <= resisting else (resisting, "resisting")


def _of_motor(build: Build, case: Case, gear: Gear, speeds, felt, steady, add: Callable[[str, float, str], None]) -> None:
    """Findings that need the electric drive, its torque as warm as the case leaves it."""
    warm = heat.study(build, case, gear)
    here, gust = motor.point(build, case, gear, warm.winding_end, warm.magnet_end), motor.gust_torque(build, case, case.speed)
    asked, available, by = (
        abs(here.asked_peak),
        *((here.lowest, here.lowest_by) if here.asked_peak < 0 else (here.highest, here.highest_by)),
    )
    lost = felt.cut_out_step
    add("motor torque", ratio(abs(available), asked), f"{by}, {available:.0f} N·m there")
    add("gust", ratio(here.reserve, gust), f"{here.reserve:.0f} N·m in reserve, {gust:.0f} N·m asked")
    reached = electric.drive(build, case.state_of_charge).back_emf_rotation() * build.wheel.radius  # cold magnets are the strongest
    add("back-EMF", ratio(reached, speeds.greatest_speed), f"reaches the packs at {_kmh(reached)}")
    _of_limits(build, case, here.asked_peak, max(speeds.greatest_speed, case.speed), (warm.winding_end, warm.magnet_end), add)
    air = case.air_temperature
    derated = f", derated to {100 * warm.assist_left_end:.0f} %" if warm.assist_left_end < 0.995 else ""
    add("winding heat", ratio(warm.winding_limit - air, warm.winding_end - air), f"winding at {warm.winding_end - 273.15:.0f} °C{derated}")
    add("magnet heat", ratio(warm.magnet_limit - air, warm.magnet_end - air), f"magnets at {warm.magnet_end - 273.15:.0f} °C")
    lowest, again = min(warm.winding_limit, build.controller.derating_start), warm.winding_repeated
    add(
        "repeated climbs",
        ratio(lowest - air, again - air),
        f"winding at {again - 273.15:.0f} °C" if np.isfinite(again) else "hotter each time",
    )
    if warm.bridge is None:
        add("controller heat", np.nan, "heat sink not described")
    else:
        hottest = warm.bridge_hottest
        add("controller heat", ratio(warm.bridge_limit - air, hottest - air), f"switches at {hottest - 273.15:.0f} °C")
    add("energy", ratio(steady.range, case.distance), _energy_words(steady.consumption / 3.6))
    add("cut-out step", ratio(felt.leg_torque_left, lost), f"{lost:.0f} N·m to supply at once" if lost > 0 else "nothing to supply")
    slope = abs(build.wheel.radius * road.slope_force(build.total_mass, case.slope))
    cap = build.assist.trim_cap if build.assist else 0.0
    add("trim", ratio(cap, slope), f"slope asks {slope:.0f} N·m, cap {cap:.0f} N·m")


def _of_limits(
    build: Build, case: Case, asked: float, fastest: float, warm: tuple[float, float], add: Callable[[str, float, str], None]
) -> None:
    """Findings on what a trip, full packs and currents against the magnets do."""
    line = reach.trip_voltage(build, fastest)
    add("trip voltage", ratio(build.controller.voltage_rating, line), f"{line:.0f} V at {_kmh(fastest)}")
    full = electric.drive(build, 1.0, *warm)
    limits = full.limits(case.speed / build.wheel.radius)
    words = f"{limits.lowest_by}, {abs(limits.lowest):.0f} N·m there" if asked < 0 else "nothing to hold back"
    add("braking reserve", ratio(abs(limits.lowest), -asked), words)
    weakening, shorted = float(full.weakening_current), reach.shorted_current(build, full, fastest)
    pushed, by = (weakening, "field weakening") if weakening > shorted else (shorted, "joined leads")
    born = build.motor.demagnetising_current
    if born is None and pushed > 0:
        add("magnet current", np.nan, "what the magnets bear is not said")
    else:
        add("magnet current", ratio(born or 0.0, pushed), f"{by}, {pushed:.0f} A")


def _of_build(build: Build) -> list[Finding]:
    """Findings that no case changes."""
    if build.packs is None:
        return []
    full = [pack.string_voltage(one.curve_voltage[-1], one.series) for one in build.packs.pack]
    voltage = sum(full) if build.packs.joined == "series" else max(full)
    found = []
    if build.controller is not None:
        found.append(
            judged("joint limit", parts.ANY, "-", ratio(build.controller.voltage_rating, voltage), f"full packs at {voltage:.1f} V")
        )
    return found


def _rules(build: Build, key: str | None, notes: list[str]) -> Finding:
    """The local rule of the cases: unknown unless its text covers one wheel."""
    rule = look_up(key)
    if rule is None:
        return judged("local rules", parts.ANY, "-", np.nan, "no area named in the case")
    notes.append(assessment(rule, _battery_side_power(build), None))
    words = "text covers one wheel, see the note" if rule.covers_one_wheel == "yes" else NOT_DETERMINED
    return judged("local rules", parts.ANY, "-", np.nan, f"{rule.area}: {words}")


def _battery_side_power(build: Build) -> float | None:
    """Greatest power that the battery current limit admits at nominal voltage; a continuous rating is lower."""
    if build.controller is None or build.packs is None:
        return None
    nominal = [pack.string_voltage(one.cell_nominal_voltage, one.series) for one in build.packs.pack]
    return build.controller.battery_current_limit * (sum(nominal) if build.packs.joined == "series" else max(nominal))


def _energy_words(consumption: float) -> str:
    if np.isinf(consumption):
        return "standing still uses charge too"
    return f"{consumption:.1f} Wh/km" if consumption >= 0 else f"{-consumption:.1f} Wh/km into the packs"


def _leg_words(power: float) -> str:
    return f"{power:.0f} W from the legs" if power >= 0 else f"legs hold back {-power:.0f} W"


def _kmh(speed: float) -> str:
    return "no speed" if not np.isfinite(speed) else f"{3.6 * speed:.1f} km/h"
