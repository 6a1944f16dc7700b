"""The topic panels: each is a study, a picture and a choice of controls.

``gearing(build, case)`` and its sisters take a build, and a case if a level
road should not be asked, and return a widget; ``start`` shows the whole machine.
"""

from __future__ import annotations

import dataclasses
import errno
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from ..inputs import Build, Case, save_build
from ..inputs.ride_logs import RideLog
from ..studies import loop as loops
from ..studies import machine
from .figures import TOPICS
from .figures.scene import Scene
from .panel import Panel
from .settings import Desk
from .topics import ASKED

LEVEL_ROAD = Case(
    name="Level road",
    speed=3.0,
    slope=0.0,
    head_wind=0.0,
    air_temperature=288.15,
    duration=1800.0,
    distance=5400.0,
    state_of_charge=0.9,
    wanted_speed=3.5,
)


def start(build: Build, case: Case | None = None, **options: Any) -> Panel:
    """The whole machine at one look: side view, leverage left over speed, findings in short."""
    return _panel("start", build, case, options)


def gearing(build: Build, case: Case | None = None, **options: Any) -> Panel:
    """Speeds and their causes, and the leverage left over speed."""
    return _panel("gearing", build, case, options)


def train(build: Build, case: Case | None = None, **options: Any) -> Panel:
    """The gear train tooth by tooth, what each condition on it leaves, and what the search refused."""
    return _panel("train", build, case, options)


def leverage(build: Build, case: Case | None = None, **options: Any) -> Panel:
    """Foot force over the crank turn, and what the legs must do if the motor stops."""
    return _panel("leverage", build, case, options)


def balance(build: Build, case: Case | None = None, **options: Any) -> Panel:
    """The gain window, the chance of being inside it, and how late the assist may be."""
    return _panel("balance", build, case, options)


def stability(build: Build, case: Case | None = None, **options: Any) -> Panel:
    """Which gains of the rider hold, how late the rider may be, and the lean after a push."""
    return _panel("stability", build, case, options)


def cranks(build: Build, case: Case | None = None, **options: Any) -> Panel:
    """Foot force for a degree of lean over the crank turn, and over crank length."""
    return _panel("cranks", build, case, options)


def going(build: Build, case: Case | None = None, **options: Any) -> Panel:
    """Where weight on one pedal can begin, and the way through the next dead centre."""
    return _panel("going", build, case, options)


def stopping(build: Build, case: Case | None = None, **options: Any) -> Panel:
    """Distance to a stop by legs, motor and brake, and what ends each."""
    return _panel("stopping", build, case, options)


def capture(build: Build, case: Case | None = None, **options: Any) -> Panel:
    """The capture envelope over speed, what ends it, and what may be lost over slope."""
    return _panel("capture", build, case, options)


def event(build: Build, case: Case | None = None, **options: Any) -> Panel:
    """Lean and torques after a bump, a gust, a slope or a lost motor."""
    return _panel("event", build, case, options)


def strength(build: Build, case: Case | None = None, **options: Any) -> Panel:
    """The way of a push through the hub, and the factor in load that is left at each part."""
    return _panel("strength", build, case, options)


def motor(build: Build, case: Case | None = None, **options: Any) -> Panel:
    """Wheel torque over speed, split into legs, motor and reserve."""
    return _panel("motor", build, case, options)


def winding(build: Build, case: Case | None = None, **options: Any) -> Panel:
    """Reserve over the turns of the motor, what ends it on either side, and the turns recommended."""
    return _panel("winding", build, case, options)


def reach(build: Build, case: Case | None = None, **options: Any) -> Panel:
    """What ends the motor's torque in four quadrants, what is left, and where a trip is dangerous."""
    return _panel("reach", build, case, options)


def sensing(build: Build, case: Case | None = None, **options: Any) -> Panel:
    """What the motor answers to a push of any size, and how much of each stage of the chain the hardest one uses."""
    return _panel("sensing", build, case, options)


def heat(build: Build, case: Case | None = None, **options: Any) -> Panel:
    """Reserve over the time of the case, and rise over allowed rise."""
    return _panel("heat", build, case, options)


def climbs(build: Build, case: Case | None = None, **options: Any) -> Panel:
    """Which slope at which speed, and for how long; beside it the climb again and again."""
    return _panel("climbs", build, case, options)


def carriage(build: Build, case: Case | None = None, **options: Any) -> Panel:
    """Energy carried over the number of packs, with the classes for an aircraft and the ways to divide what is wanted."""
    return _panel("carriage", build, case, options)


def pack(build: Build, case: Case | None = None, **options: Any) -> Panel:
    """What the packs can still give over the charge left, what the ride asks, and where the energy goes."""
    return _panel("pack", build, case, options)


def joining(build: Build, case: Case | None = None, **options: Any) -> Panel:
    """Current over voltage difference with the limits of the cells, and how it dies away."""
    return _panel("joining", build, case, options)


def wiring(build: Build, case: Case | None = None, **options: Any) -> Panel:
    """What flows in each lead, what it bears, and where a fuse fits."""
    return _panel("wiring", build, case, options)


def ride(build: Build, case: Case | None = None, **options: Any) -> Panel:
    """Distance against probability, and the energy of a kilometre by cause."""
    return _panel("ride", build, case, options)


def slopes(build: Build, case: Case | None = None, **options: Any) -> Panel:
    """Foot force over slope by trim policy, what the steps leave over, and where the energy of the way down goes."""
    return _panel("slopes", build, case, options)


def ride_log(build: Build, case: Case | None = None, log: RideLog | None = None, **options: Any) -> Panel:
    """What a ride log says of rolling, drag, drive and wind; without a log an invented ride of the build."""
    return _panel("ride_log", build, case, options, log)


def review(build: Build, case: Case | None = None, **options: Any) -> Panel:
    """All findings on a ride in the engaged gear."""
    return _panel("review", build, case, options)


def parts(build: Build, case: Case | None = None, **options: Any) -> Panel:
    """All findings on hub, sensing chain, packs, wiring and carriage."""
    return _panel("parts", build, case, options)


def journey(build: Build, case: Case | None = None, routes: Any = None, **options: Any) -> Panel:
    """A ride along a route: the probability of getting home, energy by cause, reserve and cut-out step on the way.

    ``routes`` is a route, several, or names with routes; left out, the slope of
    the case over its distance. A choice that reads files while the panel stands
    (``upload.pick``) is followed.
    """
    return _panel("journey", build, case, options, routes)


def scene(topic: str, build: Build, case: Case | None = None, **words: Any) -> Scene:
    """What the picture of a topic draws, for a figure without a panel; ``words`` are its choices, such as the event or the route."""
    if topic not in ASKED:
        raise ValueError(f"no topic {topic!r}; there are {', '.join(ASKED)}")
    case, given = case or LEVEL_ROAD, ASKED[topic].given
    if given is not None:
        choice = given(build, case, None)
        words = {choice.name: choice.values[0], **words}
    made = _scene(topic, build, case, _besides(topic, build, words))
    return made if made.later is None else made.later()


def _besides(topic: str, opened: Build, words: Mapping[str, Any]) -> dict[str, Any]:
    """What the results of a topic take besides build and case: the words that were chosen, and the build as opened."""
    return {**words, **({"opened": opened} if ASKED[topic].learned else {})}


def _scene(topic: str, build: Build, case: Case, more: Mapping[str, Any], least: Scene | None = None, whole: bool = False) -> Scene:
    asked = ASKED[topic]
    results = (asked.later if whole and asked.later else asked.results)(build, case, **more)
    made = Scene(machine.study(build, case), *results, numbers=asked.numbers)
    if asked.later and not whole:
        made = dataclasses.replace(made, later=lambda: _scene(topic, build, case, more, least, True))
    return made.held(TOPICS[topic], least)


def _panel(topic: str, build: Build, case: Case | None, options: dict[str, Any], things: Any = None) -> Panel:
    """Put a desk of controls, a study and a picture together; ``things`` are what the topic lets the reader choose among."""
    case = case or LEVEL_ROAD
    asked = ASKED[topic]
    desk = Desk(build, case, asked.build_fields, asked.case_fields, loops.completed(build) if asked.completes else None)
    choices = {choice.name: choice for choice in asked.choices(build)}
    if asked.given is not None:  # the first thing to choose
        offered = asked.given(build, case, things)
        choices = {offered.name: offered, **choices}
    first: list[Scene] = []

    def variant(values: Mapping[str, Any]) -> tuple[Build, Case]:
        return desk.variant({name: value for name, value in values.items() if name not in choices})

    def study(**values: Any) -> Scene:
        more = _besides(topic, build, {name: values[name] for name in choices})
        made = _scene(topic, *variant(values), more, first[0] if first else None)
        first[:] = first or [made]
        return made

    def save(values: dict[str, Any], name: str) -> None:
        save_as(asked.made(variant(values)[0], **{choice: values[choice] for choice in choices}), name)

    heading = f"{asked.title}: {build.name}, {case.name}"
    start = desk.start | {name: choice.values[0] for name, choice in choices.items()}
    controls = [*desk.controls, *choices.values()]
    if asked.given is not None:
        controls = [offered, *(control for control in controls if control is not offered)]
    made = Panel(study, TOPICS[topic].picture, controls, start, title=heading, save=save, **options)
    if asked.given is not None and hasattr(things, "observe"):  # files may be read while the panel stands
        follow = lambda chosen: made.rows[offered.name].offer(asked.given(build, case, things), chosen)
        things.observe(follow)
        follow(things.route)
    return made


def save_as(build: Build, name: str) -> Path:
    """Write a build under the reader's own name into the current folder, never over a file."""
    stem = name.strip().removesuffix(".toml").strip()
    if not stem or stem.startswith(".") or any(letter in '/\\:*?"<>|' or not letter.isprintable() for letter in stem):
        raise ValueError(
            "Write a plain name such as 'my wheel', without a folder and without / \\ : * ? \" < > |; the file goes into this folder."
        )
    path = Path(f"{stem}.toml")
    if path.exists():
        raise FileExistsError(errno.EEXIST, "the file exists", str(path))
    save_build(dataclasses.replace(build, name=stem), path)
    return path
