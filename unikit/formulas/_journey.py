"""The march of a ride along a route: one ride after the other, step by step, on plain numbers.

Every function here is plain Python on floats and lists, and the same source is
compiled where numba is installed (``compiled``): there is one text of the
equations, which runs either way.  It is one file, because compiled code is kept on
disk by the stamp of its own file alone.

Over a step of the route forces are constant, so that speed squared changes by
twice force times length over mass and the energy of the step closes to
rounding; powers are integrals over the step's time.  Where the legs are at their
limit the speed at the end of the step is sought, since the limit is one of power.
"""

from __future__ import annotations

import importlib.util
import math
import sys
from functools import cache
from inspect import isfunction
from types import ModuleType

# -- what a ride is made of: places in its row of numbers -----------------------------
(
    MASS,  # rider and machine
    HEAVY,  # the same with the wheel's inertia
    RADIUS,
    ROLLING,
    DRAG_AREA,
    BEARING,
    BEARING_PER_SPEED,
    RATIO,
    EFFICIENCY,
    DRIVING_GAIN,
    RESISTING_GAIN,
    STRENGTH,  # crank torque at standstill
    FASTEST,  # cadence at which none is left
    BACKWARD,
    CRITICAL,  # power
    CAPACITY,  # work above it
    LEG_POWER,
    HARD_POWER,
    PACE,  # speed that is worth hard power
    LOWEST,  # speed below which the rider walks
    WALK,
    QUICKER,  # acceleration that the rider takes
    BRAKE,  # greatest torque
    TRIM_POLICY,  # 0 none, 1 steps, 2 level
    TRIM_STEP,
    TRIM_CAP,
    HAS_MOTOR,
    TORQUE_CAP,
    DERATING_START,
    DERATING_END,
    CONSTANT,  # torque per ampere at the reference
    CONSTANT_GROWTH,
    LEAST_CONSTANT,
    SATURATION,  # one over the saturation current
    WINDING_RESISTANCE,  # at the reference
    WINDING_GROWTH,
    REFERENCE,
    BRIDGE_RESISTANCE,
    HYSTERESIS,
    EDDY,
    STANDBY,
    CHARGE,  # of the packs together
    FAST_SHARE,  # of the resistance that follows with a delay, and its time; the rest is slow
    FAST_TIME,
    SLOW_TIME,
    HELD_BACK,
    AIR,  # temperature
    WIND_NORTH,  # where the wind comes from
    WIND_EAST,
    HEAD_WIND,
    CROSS_WIND,
    SUN,
    WINDING_CAPACITY,
    STATOR_CAPACITY,
    RING_CAPACITY,  # 0: the magnets count with the housing
    HOUSING_CAPACITY,
    QUICKEST,  # rate of the quickest body
    TURNING_STEP,  # of the limits' table over rotation
    SPEED_STEP,  # of the conductances' table over speed
    COLD_WINDING,  # temperatures between which the limits' table lies
    HOT_WINDING,
    COLD_MAGNETS,
    HOT_MAGNETS,
    FLOOR,  # lowest of the pulse that the sensor feels of a mean torque of 1
    SWING,
    FELT,  # share of the turn in which it feels anything
    PARAMETERS,
) = range(67)

# -- columns of a route: PRESSURE over the gas constant, STOP at the end of the step -------
LENGTH, SINE, COSINE, PRESSURE, NORTH, EAST, SHELTER, SURFACE, STOP, ROUTE = range(10)

# -- what is carried from step to step; MET: how far until the charge held back -------------
SPEED, TIME, WORK_LEFT, CHARGE_LEFT, FAST_SAG, SLOW_SAG, WINDING, STATOR, MAGNETS, HOUSING, MET, STATE = range(12)

# -- sums over the ride, in joule but for the last -----------------------------------------
(
    CELLS,
    LEGS_GIVE,
    LEGS_TAKE,
    ON_FOOT,
    SUM_ROLLING,
    SUM_SLOPE,
    SUM_AIR,
    SUM_BEARING,
    SUM_KINETIC,
    SUM_BRAKE,
    SUM_GETTING_OFF,
    SUM_GEAR,
    SUM_IRON,
    SUM_COPPER,
    SUM_BRIDGE,
    SUM_STANDBY,
    SUM_PACK,
    FED_BACK,
    MOVING,  # s
    STANDING,  # s
    WALKED,  # m
    CUT,  # m on which a limit of the motor was met
    OVER,  # m on which nothing could hold the speed down
    LEGS_AT_WHEEL,  # work of the legs that drive
    MOTOR_AT_WHEEL,  # work of the motor that drives
    GAINED,  # kinetic energy, losses of it not counted
    CLIMBED,  # work uphill, descents not counted
    TOTALS,
) = range(28)

# -- what is kept of each step ----------------------------------------------------------
(
    AT_SPEED,
    AT_TIME,
    AT_PEDAL,
    AT_MOTOR,
    AT_TRIM,
    AT_RESERVE,
    AT_BRAKING_RESERVE,
    AT_CUT_OUT,
    AT_BRAKE,
    AT_CHARGE,
    AT_POWER,  # from the cells
    AT_WINDING,
    AT_MAGNETS,
    AT_WORK_LEFT,
    AT_WAY,  # how: 0 ridden, 1 walked
    KEPT,
) = range(16)

# -- what holds through a step: of the packs in the order of their table, then of the motor --------
REST, AT_ONCE, LATE, GIVES, TAKES, CAP, AMPERE, PHASE, ROW, CORNER = range(10)
NOW = CORNER + 8
PACK_STEP = 0.01  # of charge in the table of the packs

# -- of the extremes of a ride ------------------------------------------------------------
LEAST_RESERVE, MOST_CUT_OUT, HOTTEST_WINDING, HOTTEST_MAGNETS, LEAST_WORK, EXTREMES = range(6)

FADE = 0.1  # share of the work capacity over whose last part the legs come back to critical power
GETTING_OFF = 3.0  # s to get off, and as long to mount again; common practice, no source
LONGEST = 10.0  # s of a part of a stop
# Gauss and Legendre's six points on (0, 1)
NODE = (0.03376524289842398, 0.1693953067668677, 0.38069040695840155, 0.6193095930415985, 0.8306046932331323, 0.966234757101576)
WEIGHT = (0.08566224618958518, 0.1803807865240693, 0.23395696728634552, 0.23395696728634552, 0.1803807865240693, 0.08566224618958518)
QUARTER = math.pi / 2
SINES = tuple(math.sin(QUARTER * node) for node in NODE)


def table_at(row, step, value):
    """A table in equal steps from 0, held at its end."""
    place = value / step
    index = int(place)
    if index >= len(row) - 1:
        return row[len(row) - 1]
    return row[index] + (row[index + 1] - row[index]) * (place - index)


def turn_nodes(height, trim, low, high, floor, swing, felt, torque, weight):
    """Motor torque at points of the crank turn and their weights, as in the split of torque; the mean."""
    bottom, top = height * floor + trim, height * (floor + swing) + trim
    if low <= bottom <= high and low <= top <= high:
        first, last = 0.0, QUARTER
        for k in range(6):
            torque[k] = bottom + height * swing * SINES[k]
            weight[k] = felt * WEIGHT[k]
    else:
        span = height * swing
        one = (low - bottom) / span if span != 0.0 else 0.0
        other = (high - bottom) / span if span != 0.0 else 1.0
        first = math.asin(min(max(min(one, other), 0.0), 1.0))
        last = math.asin(min(max(max(one, other), 0.0), 1.0))
        for k in range(6):
            given = bottom + span * math.sin(first + (last - first) * NODE[k])
            torque[k] = min(max(given, low), high)
            weight[k] = felt * (last - first) / QUARTER * WEIGHT[k]
    torque[6], weight[6] = min(max(bottom, low), high), felt * first / QUARTER
    torque[7], weight[7] = min(max(top, low), high), felt * (QUARTER - last) / QUARTER
    torque[8], weight[8] = trim, 1.0 - felt
    mean = 0.0
    for k in range(9):
        mean += weight[k] * torque[k]
    return mean


def pedal_for(needed, lever, gain, trim, low, high, floor, swing, felt, torque, weight):
    """Mean pedal torque at which legs and motor together give a wheel torque; a bracketed Newton search where a limit is met."""
    below, above = (needed - high) / lever, (needed - low) / lever
    pedal = min(max((needed - trim) / (lever + gain), below), above)
    for _ in range(60):
        mean = turn_nodes(gain * pedal, trim, low, high, floor, swing, felt, torque, weight)
        error = lever * pedal + mean - needed
        if abs(error) <= 1e-12 * (abs(needed) + 1.0):
            break
        if error < 0.0:
            below = pedal
        else:
            above = pedal
        rise = 0.0
        for k in range(6):
            if low < torque[k] < high and pedal != 0.0:
                rise += weight[k] * (torque[k] - trim) / pedal
        pedal -= error / (lever + rise)
        if not below <= pedal <= above:
            pedal = (below + above) / 2
    return pedal


def road_forces(p, route, i, speed, out):
    """Rolling, slope, air and bearings over a step at a speed, each by its own formula; their sum."""
    shelter = route[SHELTER][i]
    along = speed + p[WIND_NORTH] * route[NORTH][i] + p[WIND_EAST] * route[EAST][i] + p[HEAD_WIND] * shelter
    across = p[WIND_EAST] * route[NORTH][i] - p[WIND_NORTH] * route[EAST][i] + p[CROSS_WIND] * shelter
    weight = p[MASS] * 9.81
    out[0] = p[ROLLING] * route[SURFACE][i] * weight * route[COSINE][i]
    out[1] = weight * route[SINE][i]
    out[2] = 0.5 * route[PRESSURE][i] / p[AIR] * p[DRAG_AREA] * along * math.sqrt(along * along + across * across)
    out[3] = p[BEARING] + p[BEARING_PER_SPEED] * speed
    return out[0] + out[1] + out[2] + out[3]


def trim_for(p, sine):
    """Trim torque that the rider has dialled in for a slope."""
    if p[TRIM_POLICY] == 0.0:
        return 0.0
    wanted = p[RADIUS] * p[MASS] * 9.81 * sine
    if p[TRIM_POLICY] == 1.0 and p[TRIM_STEP] > 0.0:
        wanted = p[TRIM_STEP] * round(wanted / p[TRIM_STEP])
    return min(max(wanted, -p[TRIM_CAP]), p[TRIM_CAP])


def faded(p, power, work_left):
    """A leg power as far as what is left of the work above critical power lets it be."""
    if power <= p[CRITICAL]:
        return power
    return p[CRITICAL] + (power - p[CRITICAL]) * min(max(work_left / (FADE * p[CAPACITY]), 0.0), 1.0)


def most_torque(p, cadence):
    """Greatest mean crank torque at a cadence."""
    return max(p[STRENGTH] * (1.0 - cadence / p[FASTEST]), 0.0)


def set_now(p, pack, points, state, on, now):
    """What charge and temperatures set for the whole of a step: the packs, the cap, and the corners of the limits' tables."""
    charge = state[CHARGE_LEFT]
    for k in range(5):
        now[k] = table_at(pack[k], PACK_STEP, charge) if on else 0.0
    now[CAP] = p[TORQUE_CAP] * min(max((p[DERATING_END] - state[WINDING]) / (p[DERATING_END] - p[DERATING_START]), 0.0), 1.0)
    now[AMPERE] = max(p[CONSTANT] * (1.0 + p[CONSTANT_GROWTH] * (state[MAGNETS] - p[REFERENCE])), p[LEAST_CONSTANT])
    now[PHASE] = p[WINDING_RESISTANCE] * (1.0 + p[WINDING_GROWTH] * (state[WINDING] - p[REFERENCE]))
    row = 0
    while row < len(points) - 2 and points[row + 1] < charge:
        row += 1
    along = min(max((charge - points[row]) / (points[row + 1] - points[row]), 0.0), 1.0)
    warm = min(max((state[WINDING] - p[COLD_WINDING]) / (p[HOT_WINDING] - p[COLD_WINDING]), 0.0), 1.0)
    mild = min(max((state[MAGNETS] - p[COLD_MAGNETS]) / (p[HOT_MAGNETS] - p[COLD_MAGNETS]), 0.0), 1.0)
    now[ROW] = 4.0 * row
    for k in range(8):
        share = (warm if k & 2 else 1.0 - warm) * (mild if k & 1 else 1.0 - mild)
        now[CORNER + k] = share * (along if k & 4 else 1.0 - along)


def limit_at(table, p, turning, now):
    """A limit of torque in the state of the step: rows of charges and temperatures, rotation in columns."""
    place = turning / p[TURNING_STEP]
    end = len(table[0]) - 1
    index = min(int(place), end - 1)
    part = min(place - index, 1.0)
    row, total = int(now[ROW]), 0.0
    for k in range(8):
        if now[CORNER + k] > 0.0:
            line = table[row + k]
            total += now[CORNER + k] * (line[index] + (line[index + 1] - line[index]) * part)
    return total


def torque_at_power(p, turning, power, way, now):
    """Torque that takes a power of the bus without the standby, along the rotation (way 1) or against it (-1).

    A power below 0 is fed back: the least braking that does so; -inf where none feeds back so much.
    """
    constant = now[AMPERE]
    ohmic = 1.5 * (now[PHASE] + p[BRIDGE_RESISTANCE])
    work = constant * turning
    inside = work * work + 4 * ohmic * power
    if inside < 0.0:
        return -math.inf
    amps = 2 * power / (work + math.sqrt(inside)) if power != 0.0 else 0.0
    if power >= 0.0 and way < 0.0:
        amps = -(work + math.sqrt(inside)) / (2 * ohmic)
    if p[SATURATION] == 0.0:
        return constant * amps
    for _ in range(40):
        kept = 1.0 / math.sqrt(1.0 + (amps * p[SATURATION]) * (amps * p[SATURATION]))
        slope = 2 * ohmic * amps + work * kept * kept * kept
        if slope == 0.0 or (power < 0.0 and slope < 0.0):  # saturation lets no braking feed back so much
            return -math.inf
        change = (ohmic * amps * amps + work * amps * kept - power) / slope
        amps -= change
        if abs(change) <= 1e-12 * (abs(amps) + 1.0):
            break
    return constant * amps / math.sqrt(1.0 + (amps * p[SATURATION]) * (amps * p[SATURATION]))


def ride_to(p, route, i, high, low, now, state, length, end_speed, trim, on, forces, torque, weight, found):
    """What it takes to be at a speed at the end of a step: pedal torque and the rest, in ``found``."""
    mean_speed = (state[SPEED] + end_speed) / 2
    turning = mean_speed / p[RADIUS]
    force = p[HEAVY] * (end_speed * end_speed - state[SPEED] * state[SPEED]) / (2 * length)
    needed = p[RADIUS] * (force + road_forces(p, route, i, mean_speed, forces))
    top = bottom = drag = 0.0
    driving = resisting = 0.0
    if p[HAS_MOTOR] != 0.0:
        drag = p[HYSTERESIS] + p[EDDY] * turning if turning > 0.0 else 0.0
        if on:
            drawn, fed = now[GIVES] - p[STANDBY], now[TAKES] - p[STANDBY]
            top = min(limit_at(high, p, turning, now), now[CAP])
            bottom = max(limit_at(low, p, turning, now), -now[CAP])
            if drawn < 0.0:
                top = bottom = 0.0
            else:
                top = min(top, torque_at_power(p, turning, drawn, 1.0, now))
                bottom = max(bottom, torque_at_power(p, turning, drawn, -1.0, now), torque_at_power(p, turning, fed, -1.0, now))
            driving, resisting = p[DRIVING_GAIN], p[RESISTING_GAIN]
    needed += drag
    set_trim = min(max(trim, bottom), top)
    lever, gain = p[EFFICIENCY] / p[RATIO], driving
    if needed < set_trim:
        lever, gain = 1.0 / (p[EFFICIENCY] * p[RATIO]), resisting
    pedal = pedal_for(needed, lever, gain, set_trim, bottom, top, p[FLOOR], p[SWING], p[FELT], torque, weight)
    found[0], found[1], found[2], found[3], found[4] = pedal, needed, lever, gain, set_trim
    found[5], found[6], found[7], found[8] = bottom, top, drag, turning / p[RATIO]
    return pedal


def pushing(p, power, found):
    """Greatest pedal torque of the legs at a power that they may give; found[8] is the cadence."""
    most = most_torque(p, found[8])
    return min(most, power / found[8]) if found[8] > 0.0 else most


def fastest_end(p, route, i, high, low, now, state, length, goal, power, trim, on, forces, torque, weight, found):
    """The speed at the end of a step that the legs reach at a power, at most the goal; below 0 where they cannot ride at all."""
    excess = ride_to(p, route, i, high, low, now, state, length, goal, trim, on, forces, torque, weight, found)
    excess -= pushing(p, power, found)
    if excess <= 0.0:
        return goal
    upper, over, lower = goal, excess, 0.0
    under = ride_to(p, route, i, high, low, now, state, length, lower, trim, on, forces, torque, weight, found)
    under -= pushing(p, power, found)
    if under > 0.0:
        return -1.0
    speed = lower
    for count in range(80):
        speed = upper - over * (upper - lower) / (over - under)
        if count % 3 == 2:
            speed = (upper + lower) / 2
        excess = ride_to(p, route, i, high, low, now, state, length, speed, trim, on, forces, torque, weight, found)
        excess -= pushing(p, power, found)
        if abs(excess) <= 1e-10 or upper - lower <= 1e-12:
            break
        if excess > 0.0:
            upper, over = speed, excess
        else:
            lower, under = speed, excess
    return speed


def warm_up(p, conductance, speed, time, copper, iron, state):
    """Temperatures after a time, by Heun's method in parts short enough for the quickest body."""
    links = (
        table_at(conductance[0], p[SPEED_STEP], speed),
        table_at(conductance[1], p[SPEED_STEP], speed),
        table_at(conductance[2], p[SPEED_STEP], speed),
        table_at(conductance[3], p[SPEED_STEP], speed),
        table_at(conductance[4], p[SPEED_STEP], speed),
        table_at(conductance[5], p[SPEED_STEP], speed),
        table_at(conductance[6], p[SPEED_STEP], speed),
    )
    parts = int(time * p[QUICKEST] / 0.7) + 1
    part = time / parts
    for _ in range(parts):
        w, s, m, h = state[WINDING], state[STATOR], state[MAGNETS], state[HOUSING]
        a, b, c, d = heat_rates(p, links, w, s, m, h, copper, iron)
        e, f, g, k = heat_rates(p, links, w + part * a, s + part * b, m + part * c, h + part * d, copper, iron)
        state[WINDING] = w + part * (a + e) / 2
        state[STATOR] = s + part * (b + f) / 2
        state[MAGNETS] = m + part * (c + g) / 2
        state[HOUSING] = h + part * (d + k) / 2


def heat_rates(p, links, winding, stator, magnets, housing, copper, iron):
    """Kelvin per second of the four bodies; magnets without a ring of their own go with the housing."""
    to_stator = links[0] * (winding - stator)
    to_housing = links[1] * (stator - housing)
    ends = links[5] * (winding - housing)
    gap = links[4] * (stator - magnets)
    shell = links[3] * (magnets - housing)
    out = links[2] * (housing - p[AIR])
    axle = links[6] * (stator - p[AIR])
    of_winding = (copper - to_stator - ends) / p[WINDING_CAPACITY]
    of_stator = (iron + to_stator - to_housing - gap - axle) / p[STATOR_CAPACITY]
    if p[RING_CAPACITY] > 0.0:
        of_ring = (gap - shell) / p[RING_CAPACITY]
        return of_winding, of_stator, of_ring, (p[SUN] + to_housing + ends + shell - out) / p[HOUSING_CAPACITY]
    both = (p[SUN] + to_housing + ends + gap - out) / p[HOUSING_CAPACITY]
    return of_winding, of_stator, both, both


def draw_on(p, now, time, turning, torque, weight, on, state, totals, kept):
    """Currents over the turn for the torques in ``torque``: losses and charge of a time; copper loss as a power."""
    kept[AT_POWER] = 0.0
    if not on:
        if p[CHARGE] > 0.0:
            relax(p, now, time, 0.0, state)
        return 0.0
    constant, resistance = now[AMPERE], now[PHASE]
    rest, inner = now[REST], now[AT_ONCE]
    sag = state[FAST_SAG] + state[SLOW_SAG]
    source = rest - sag
    square = current = squared = 0.0
    for k in range(9):
        if weight[k] == 0.0:
            continue
        amps = torque[k] / constant
        if p[SATURATION] > 0.0:
            amps /= math.sqrt(max(1.0 - (amps * p[SATURATION]) * (amps * p[SATURATION]), 1e-9))
        bus = 1.5 * (resistance + p[BRIDGE_RESISTANCE]) * amps * amps + torque[k] * turning + p[STANDBY]
        drawn = 2 * bus / (source + math.sqrt(max(source * source - 4 * inner * bus, 0.0)))
        square += weight[k] * amps * amps
        current += weight[k] * drawn
        squared += weight[k] * drawn * drawn
    copper = 1.5 * resistance * square
    totals[CELLS] += rest * current * time
    if current < 0.0:
        totals[FED_BACK] -= rest * current * time
    totals[SUM_PACK] += (inner * squared + sag * current) * time
    totals[SUM_COPPER] += copper * time
    totals[SUM_BRIDGE] += 1.5 * p[BRIDGE_RESISTANCE] * square * time
    totals[SUM_STANDBY] += p[STANDBY] * time
    kept[AT_POWER] = rest * current
    relax(p, now, time, current, state)
    return copper


def relax(p, now, time, current, state):
    """Charge and sag of the packs after a time at a mean current."""
    late = now[LATE] * current
    goal = p[FAST_SHARE] * late
    state[FAST_SAG] = goal + (state[FAST_SAG] - goal) * math.exp(-time / p[FAST_TIME])
    goal = (1.0 - p[FAST_SHARE]) * late
    state[SLOW_SAG] = goal + (state[SLOW_SAG] - goal) * math.exp(-time / p[SLOW_TIME])
    state[CHARGE_LEFT] -= current * time / p[CHARGE]


def tire(p, power, time, state):
    """What is left of the work above critical power after a time."""
    if power > p[CRITICAL]:
        state[WORK_LEFT] = max(state[WORK_LEFT] - (power - p[CRITICAL]) * time, 0.0)
    else:
        missing = (p[CAPACITY] - state[WORK_LEFT]) * math.exp(-(p[CRITICAL] - power) * time / p[CAPACITY])
        state[WORK_LEFT] = p[CAPACITY] - missing


def still(weight, torque):
    """No motor torque anywhere in the turn."""
    for k in range(9):
        torque[k] = weight[k] = 0.0
    weight[0] = 1.0


def rest_for(p, pack, points, conductance, time, state, totals, kept, torque, weight, now):
    """A time at a standstill: the electronics draw, the motor cools, the legs recover."""
    parts = int(time / LONGEST) + 1
    part = time / parts
    still(weight, torque)
    for _ in range(parts):
        on = p[HAS_MOTOR] != 0.0 and state[CHARGE_LEFT] > 0.0
        set_now(p, pack, points, state, on, now)
        copper = draw_on(p, now, part, 0.0, torque, weight, on, state, totals, kept)
        if p[HAS_MOTOR] != 0.0:
            warm_up(p, conductance, 0.0, part, copper, 0.0, state)
        tire(p, 0.0, part, state)
    state[TIME] += time


def walked(p, route, i, pack, points, conductance, length, state, totals, row, forces, torque, weight, now):
    """A step on foot, the machine pushed: what was ridden fast is lost on getting off."""
    begin = state[SPEED]
    if begin > 0.0:
        totals[SUM_GETTING_OFF] += p[HEAVY] * begin * begin / 2
        totals[SUM_KINETIC] -= p[HEAVY] * begin * begin / 2
        state[SPEED] = 0.0
        rest_for(p, pack, points, conductance, 2 * GETTING_OFF, state, totals, row, torque, weight, now)
        totals[STANDING] += 2 * GETTING_OFF
    time = length / p[WALK]
    pull = road_forces(p, route, i, p[WALK], forces)
    still(weight, torque)
    on = p[HAS_MOTOR] != 0.0 and state[CHARGE_LEFT] > 0.0
    set_now(p, pack, points, state, on, now)
    drag = 0.0
    turning = p[WALK] / p[RADIUS]
    if p[HAS_MOTOR] != 0.0:
        drag = p[HYSTERESIS] + p[EDDY] * turning
    totals[ON_FOOT] += pull * length + drag * length / p[RADIUS]
    totals[SUM_ROLLING] += forces[0] * length
    totals[SUM_SLOPE] += forces[1] * length
    totals[SUM_AIR] += forces[2] * length
    totals[SUM_BEARING] += forces[3] * length
    totals[SUM_IRON] += drag * length / p[RADIUS]
    totals[WALKED] += length
    totals[CLIMBED] += max(forces[1], 0.0) * length
    totals[MOVING] += time
    copper = draw_on(p, now, time, turning, torque, weight, on, state, totals, row)
    if p[HAS_MOTOR] != 0.0:
        warm_up(p, conductance, p[WALK], time, copper, drag * turning, state)
    tire(p, max(pull * p[WALK], 0.0), time, state)
    state[TIME] += time
    row[AT_PEDAL] = row[AT_MOTOR] = row[AT_TRIM] = row[AT_RESERVE] = row[AT_BRAKING_RESERVE] = row[AT_CUT_OUT] = 0.0
    row[AT_WAY] = 1.0


def march(p, route, ceiling, pack, conductance, high, low, points, state, totals, extremes, kept, first, last):
    """Ride the steps from ``first`` up to ``last``, that one not counted.

    Args:
        p: the ride's row of numbers.
        route: columns of the route, one entry a step.
        ceiling: speeds at the points that the rider does not pass.
        pack: voltage at rest, ohmic and delayed resistance of the packs together, greatest power out of and into them, over charge in
            equal steps.
        conductance: seven tables over speed, in the order of ``warm_up``.
        high: greatest motor torque by phase current and voltage, see ``limit_at``; low: the lowest.
        points: states of charge of these tables.
        state: where the ride is; changed.
        totals: sums over the ride; changed.
        extremes: what was narrowest; changed.
        kept: a row for each step, or one row that is used again and again.
        first, last: steps.
    """
    torque, weight = [0.0] * 9, [0.0] * 9
    forces, found, now = [0.0] * 4, [0.0] * 9, [0.0] * NOW
    for i in range(first, last):
        row = kept[i] if len(kept) > 1 else kept[0]
        length, begin, before = route[LENGTH][i], state[SPEED], state[CHARGE_LEFT]
        goal = min(ceiling[i + 1], math.sqrt(begin * begin + 2 * p[QUICKER] * length))
        trim = trim_for(p, route[SINE][i])
        on = p[HAS_MOTOR] != 0.0 and before > 0.0
        set_now(p, pack, points, state, on, now)
        power = faded(p, p[LEG_POWER], state[WORK_LEFT])
        end = fastest_end(p, route, i, high, low, now, state, length, goal, power, trim, on, forces, torque, weight, found)
        pace = min(goal, p[PACE])
        if end < pace and p[HARD_POWER] > p[LEG_POWER]:
            power = faded(p, p[HARD_POWER], state[WORK_LEFT])
            other = fastest_end(p, route, i, high, low, now, state, length, pace, power, trim, on, forces, torque, weight, found)
            if other > end:
                end = other
            else:
                end = fastest_end(
                    p, route, i, high, low, now, state, length, goal, faded(p, p[LEG_POWER], state[WORK_LEFT]), trim, on,
                    forces, torque, weight, found,
                )  # fmt: skip
        brake = 0.0
        if end < min(p[LOWEST], goal) or begin + end <= 0.0:
            walked(p, route, i, pack, points, conductance, length, state, totals, row, forces, torque, weight, now)
        else:
            needed, lever, gain, set_trim = found[1], found[2], found[3], found[4]
            bottom, top, drag, cadence = found[5], found[6], found[7], found[8]
            pedal = found[0]
            comfortable = min(pushing(p, p[LEG_POWER], found), p[BACKWARD] * most_torque(p, cadence))
            if pedal < -comfortable:
                # the legs hold back as hard as they like to, the brake takes the rest, then the legs what they can
                pedal = -comfortable
                mean = turn_nodes(gain * pedal, set_trim, bottom, top, p[FLOOR], p[SWING], p[FELT], torque, weight)
                brake = lever * pedal + mean - needed
                if brake > p[BRAKE]:
                    brake = p[BRAKE]
                    least = pedal_for(needed + brake, lever, gain, set_trim, bottom, top, p[FLOOR], p[SWING], p[FELT], torque, weight)
                    pedal = max(least, -p[BACKWARD] * most_torque(p, cadence))
                    mean = turn_nodes(gain * pedal, set_trim, bottom, top, p[FLOOR], p[SWING], p[FELT], torque, weight)
                    if pedal > least:
                        totals[OVER] += length
                        pull = (lever * pedal + mean - drag - brake) / p[RADIUS]
                        for _ in range(60):
                            ahead = begin * begin + 2 * length * (pull - road_forces(p, route, i, (begin + end) / 2, forces)) / p[HEAVY]
                            ahead = math.sqrt(max(ahead, 0.0))
                            close = abs(ahead - end) < 1e-13 * (ahead + end)
                            end = ahead
                            if close:
                                break
                        # the last speed is that of these forces: what the step changes is its own kinetic energy
                        end = math.sqrt(
                            max(begin * begin + 2 * length * (pull - forces[0] - forces[1] - forces[2] - forces[3]) / p[HEAVY], 1e-6)
                        )
                        # iron drag and limits stay those of the speed that was sought
            mean = turn_nodes(gain * pedal, set_trim, bottom, top, p[FLOOR], p[SWING], p[FELT], torque, weight)
            time = 2 * length / (begin + end)
            turning = length / time / p[RADIUS]
            angle = length / p[RADIUS]
            floor, peak = gain * pedal * p[FLOOR] + set_trim, gain * pedal * (p[FLOOR] + p[SWING]) + set_trim
            between = set_trim if p[FELT] < 1.0 else floor
            spare = top - min(max(floor, peak, between), top)
            spare_back = max(min(floor, peak, between), bottom) - bottom
            worked = pedal * angle / p[RATIO]
            totals[LEGS_GIVE if worked > 0.0 else LEGS_TAKE] += abs(worked)
            totals[SUM_GEAR] += (1.0 - p[EFFICIENCY]) * (worked if worked > 0.0 else -lever * pedal * angle)
            totals[SUM_ROLLING] += forces[0] * length
            totals[SUM_SLOPE] += forces[1] * length
            totals[SUM_AIR] += forces[2] * length
            totals[SUM_BEARING] += forces[3] * length
            totals[SUM_KINETIC] += p[HEAVY] * (end * end - begin * begin) / 2
            totals[SUM_BRAKE] += brake * angle
            totals[LEGS_AT_WHEEL] += max(lever * pedal, 0.0) * angle
            totals[MOTOR_AT_WHEEL] += max(mean, 0.0) * angle
            totals[GAINED] += max(p[HEAVY] * (end * end - begin * begin) / 2, 0.0)
            totals[CLIMBED] += max(forces[1], 0.0) * length
            totals[SUM_IRON] += drag * angle
            totals[MOVING] += time
            if abs(gain * pedal + set_trim - mean) > 1e-9 or set_trim != trim:
                totals[CUT] += length
            copper = draw_on(p, now, time, turning, torque, weight, on, state, totals, row)
            if p[HAS_MOTOR] != 0.0:
                warm_up(p, conductance, length / time, time, copper, drag * turning, state)
            tire(p, max(worked / time, 0.0), time, state)
            state[SPEED] = end
            state[TIME] += time
            row[AT_PEDAL], row[AT_MOTOR], row[AT_TRIM], row[AT_WAY] = pedal, mean, set_trim, 0.0
            row[AT_RESERVE], row[AT_BRAKING_RESERVE] = spare, spare_back
            row[AT_CUT_OUT] = mean * p[RATIO] / p[EFFICIENCY] if mean > 0.0 else mean * p[RATIO] * p[EFFICIENCY]
            extremes[LEAST_RESERVE] = min(extremes[LEAST_RESERVE], spare)
            extremes[MOST_CUT_OUT] = max(extremes[MOST_CUT_OUT], abs(row[AT_CUT_OUT]))
        row[AT_BRAKE] = brake
        if before > p[HELD_BACK] >= state[CHARGE_LEFT]:
            state[MET] += length * (before - p[HELD_BACK]) / (before - state[CHARGE_LEFT])
        elif state[CHARGE_LEFT] > p[HELD_BACK]:
            state[MET] += length
        if route[STOP][i] > 0.0:
            if state[SPEED] > 0.0:
                totals[SUM_GETTING_OFF] += p[HEAVY] * state[SPEED] * state[SPEED] / 2
                totals[SUM_KINETIC] -= p[HEAVY] * state[SPEED] * state[SPEED] / 2
                state[SPEED] = 0.0
            standing = route[STOP][i] + 2 * GETTING_OFF
            rest_for(p, pack, points, conductance, standing, state, totals, row, torque, weight, now)
            totals[STANDING] += standing
        row[AT_SPEED], row[AT_TIME], row[AT_CHARGE] = state[SPEED], state[TIME], state[CHARGE_LEFT]
        row[AT_WINDING], row[AT_MAGNETS], row[AT_WORK_LEFT] = state[WINDING], state[MAGNETS], state[WORK_LEFT]
        extremes[HOTTEST_WINDING] = max(extremes[HOTTEST_WINDING], state[WINDING])
        extremes[HOTTEST_MAGNETS] = max(extremes[HOTTEST_MAGNETS], state[MAGNETS])
        extremes[LEAST_WORK] = min(extremes[LEAST_WORK], state[WORK_LEFT])


def march_many(p, route, ceiling, pack, conductance, high, low, points, state, totals, extremes, kept):
    """Whole rides one after the other; what has one row serves all of them."""
    for r in range(len(p)):
        march(
            p[r],
            route,
            ceiling[min(r, len(ceiling) - 1)],
            pack[min(r, len(pack) - 1)],
            conductance[min(r, len(conductance) - 1)],
            high[min(r, len(high) - 1)],
            low[min(r, len(low) - 1)],
            points,
            state[r],
            totals[r],
            extremes[r],
            kept,
            0,
            len(route[0]),
        )


@cache
def compiled() -> ModuleType | None:
    """This module once more with its functions compiled by numba; None where numba is not installed."""
    if importlib.util.find_spec("numba") is None:
        return None
    from numba import njit

    spec = importlib.util.spec_from_file_location(__name__ + "_compiled", __file__)
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module  # numba finds by this name what it keeps on disk
    spec.loader.exec_module(module)
    for name, value in list(vars(module).items()):
        if isfunction(value) and value.__module__ == spec.name and name != "compiled":
            setattr(module, name, njit(cache=True, error_model="numpy")(value))
    return module
