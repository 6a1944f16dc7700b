"""Fifty random plausible builds with riders who learned the ungeared wheel, and the edges of their windows by three routes."""

from typing import NamedTuple

import numpy as np
from machines import AIR
from riding import STRONG, modes

from unikit.formulas import balance, delay, events, reflex
from unikit.formulas.events import Drive, Event, Machine
from unikit.formulas.reflex import Path, Reflex

SEED, BUILDS = 50, 50
SHARES = np.array([0.97, 0.985, 1.0, 1.015, 1.03])  # gains to simulate, over the exact edge


class Builds(NamedTuple):
    """Every second rider predicts."""

    machine: Machine
    reflex: Reflex
    path: Path
    leverage: np.ndarray
    ratio: np.ndarray
    efficiency: np.ndarray


def rows(record, chosen):
    """Some builds of a record."""
    return type(record)(*(np.broadcast_to(part, (BUILDS,))[chosen] for part in record))


def fifty():
    draw = np.random.default_rng(SEED).uniform
    some = lambda low, high: draw(low, high, BUILDS)
    masses = some(60, 115), some(0.65, 1.0), some(6, 14), some(5, 12), some(0.2, 0.5), some(0.30, 0.45)
    machine = Machine(*masses, speed=some(2, 6), **AIR)
    plant, predicts = balance.linear_plant(*machine), np.arange(BUILDS) % 2 == 1
    late = np.where(predicts, some(0.10, 0.16), some(0.08, 0.11))
    body = np.stack([late, some(0.02, 0.06), some(0, 6), some(0, 150), some(0.1, 0.3)])
    found = np.empty((9, BUILDS))
    for kind in (False, True):
        chosen = predicts == kind
        delay_, lag, damping, stiffness, replanning = body[:, chosen]
        found[:, chosen] = np.array(
            np.broadcast_arrays(*reflex.tuned_reflex(rows(plant, chosen), delay_, lag, kind, 0.02, damping, stiffness, replanning))
        )
    path = Path(some(0.002, 0.05), some(5, 50), some(0.002, 0.005))
    efficiency, ratio = some(0.93, 0.99), some(1.1, 1.7)
    return Builds(machine, Reflex(*found), path, efficiency / ratio, ratio, efficiency)


def exact(builds):
    """Windows from the gain that puts a root on the axis."""
    return reflex.gain_window(balance.linear_plant(*builds.machine), builds.reflex, builds.path, builds.leverage, builds.ratio)


def growth(builds, gain):
    """Real part of the rightmost root."""
    plant = balance.linear_plant(*builds.machine)
    system = reflex.system_matrices(plant, builds.reflex, builds.path, builds.leverage, builds.ratio, gain)
    return np.max(delay.rightmost_roots(*system, count=4).real, axis=-1)


def by_roots(builds, low, high):
    """Gain at which the growth changes its sign between two gains, by false position with halving."""
    left, right = growth(builds, low), growth(builds, high)
    assert np.all(left * right < 0)
    for _ in range(60):
        middle = np.clip(high - right * (high - low) / (right - left), np.minimum(low, high), np.maximum(low, high))
        here = growth(builds, middle)
        same = here * right > 0
        left = np.where(same, 0.5 * left, right)  # the Illinois rule: an end that stays counts half
        low = np.where(same, low, high)
        moved = np.max(np.abs(middle - high))
        high, right = middle, here
        if moved < 1e-9:
            break
    return high


def by_time(builds, edge, frequency):
    """Gain and frequency at which the simulated small deviation neither grows nor dies."""
    column = lambda record: type(record)(*(np.reshape(part, (-1, 1)) for part in record))
    gain = edge[:, None] * SHARES
    motor = Drive(builds.efficiency[:, None], builds.ratio[:, None], gain, gain, speeds=0.0, highest=1e5, lowest=-1e5)
    road, person, path = (column(part) for part in builds[:3])
    course = events.simulate(road, person, path, STRONG, motor, Event(lean_rate=1e-6), duration=10.0, step=0.002, every=25)
    away = course.lean - events.steady_ride(road, motor).lean[..., None]
    found = np.array([[modes(ride[40:], 0.05, 8) for ride in build] for build in away])
    nearest = np.argmin(np.abs(found - 1j * frequency[:, None, None]), axis=-1)
    rate = np.take_along_axis(found, nearest[..., None], -1)[..., 0]
    crossing = np.array([np.polyfit(one.real, SHARES, 2)[-1] for one in rate])
    turning = np.array([np.polyval(np.polyfit(SHARES, one.imag, 2), share) for one, share in zip(rate, crossing, strict=True)])
    assert np.all(rate[:, 0].real * rate[:, -1].real < 0)
    return edge * crossing, turning


def page_table(builds, windows, simulated):
    """The table for the page; ``simulated`` maps an edge's name to gains per build."""
    lines = []
    for place in range(BUILDS):
        kind = "predicts" if builds.reflex.acceleration[place] > 0 else "does not"
        start = f"| {place + 1} | {1000 * builds.reflex.delay[place]:.0f} ms, {kind} | {builds.ratio[place]:.2f} |"
        cells = []
        for edge in ("toppling", "onset"):
            gain, rate = getattr(windows, f"{edge}_gain")[place], getattr(windows, f"{edge}_frequency")[place]
            if windows.reason[place]:
                cells += ["none"] * 3
            elif gain == 0:
                cells += ["0", "", ""]
            else:
                cells += [f"{gain:.4f}", f"{simulated[edge][place]:.4f}", f"{rate / (2 * np.pi):.3f}"]
        lines.append(f"{start} {' | '.join(cells)} |")
    return "\n".join(lines)


def page_rows(page):
    """What the table on the page says: per build the edges as gain, simulated gain and frequency in Hz."""
    found = []
    for line in page.splitlines():
        cells = [cell.strip() for cell in line.strip().strip("|").split("|")]
        if len(cells) == 9 and cells[0].isdigit():
            parts = {"toppling": cells[3:6], "onset": cells[6:9]}
            found.append({edge: tuple(map(float, three)) for edge, three in parts.items() if three[0] not in ("none", "0")})
    return found
