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
    FASTEST_TURNING,  # that the controller follows
    PHASE_LIMIT,  # greatest phase current
    POLES,  # pairs
    INDUCTANCE,  # of the quadrature axis
    SHARE,  # phase voltage over bus voltage
    WEAKENING,  # greatest current against the magnets: above 0 the voltage's limit comes from the table
    PARAMETERS,
) = range(73)

# -- columns of a route: PRESSURE over the gas constant, STOP at the end of the step -------
LENGTH, SINE, COSINE, PRESSURE, NORTH, EAST, SHELTER, SURFACE, STOP, ROUTE = range(10)

# -- what is carried from step to step; GONE: how far so far, MET: the same until the charge held back was met ----
SPEED, TIME, WORK_LEFT, CHARGE_LEFT, FAST_SAG, SLOW_SAG, WINDING, STATOR, MAGNETS, HOUSING, GONE, MET, STATE = range(13)

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

# -- of the extremes of a ride ------------------------------------------------------------
LEAST_RESERVE, MOST_CUT_OUT, HOTTEST_WINDING, HOTTEST_MAGNETS, LEAST_WORK, EXTREMES = range(6)

# -- of a step, whatever the speed at its end: forces, motor and packs as they are ----
(
    STEADY,  # rolling and slope
    WIND,  # against the travel
    ACROSS,  # square of the wind across
    AIR_FACTOR,  # half the density times the drag area
    ON,
    CAP,  # of the torque, after derating
    TRIM,
    VOLTAGE_ROW,
    VOLTAGE_PART,
    PACK_ROW,  # of the packs' curves
    FLUX,  # torque per ampere before the iron saturates
    RESISTANCE,  # of winding and bridge
    REST,  # voltage of the packs, and their resistance at once and with delay
    INNER,
    LATE,
    DRAWN,  # most that the bus takes from the packs, and least: below 0 it feeds back
    FED,
    COLD,  # shares of the four states of winding and magnets
    COLD_WARM,
    WARM_COLD,
    WARM,
    HERE,
) = range(22)

# -- what it takes to be at a speed at the end of a step ------------------------------------
PEDAL, NEEDED, LEVER, GAIN, SET_TRIM, BOTTOM, TOP, DRAG, CADENCE, FOUND = range(10)

FADE = 0.1  # share of the work capacity over whose last part the legs come back to critical power
GETTING_OFF = 3.0  # s to get off, and as long to mount again; common practice, no source
IN_HAND = (
    4.0  # so many times the work above critical power must be left for mounting as for riding on, so that nobody mounts for a few metres
)
LONGEST = 10.0  # s of a part of a stop
# Gauss and Legendre's six points on (0, 1)
NODE = (0.03376524289842398, 0.1693953067668677, 0.38069040695840155, 0.6193095930415985, 0.8306046932331323, 0.966234757101576)
WEIGHT = (0.08566224618958518, 0.1803807865240693, 0.23395696728634552, 0.23395696728634552, 0.1803807865240693, 0.08566224618958518)
QUARTER = math.pi / 2
SINES = tuple(math.sin(QUARTER * node) for node in NODE)


def step_here(p, route, i, pack, points, state, on, trim, here):
    """What does not depend on the speed at the end of the step, into ``here``."""
    shelter, north, east = route[SHELTER][i], route[NORTH][i], route[EAST][i]
    weight = p[MASS] * 9.81
    across = p[WIND_EAST] * north - p[WIND_NORTH] * east + p[CROSS_WIND] * shelter
    here[STEADY] = p[ROLLING] * route[SURFACE][i] * weight * route[COSINE][i] + weight * route[SINE][i]
    here[WIND] = p[WIND_NORTH] * north + p[WIND_EAST] * east + p[HEAD_WIND] * shelter
    here[ACROSS] = across * across
    here[AIR_FACTOR] = 0.5 * route[PRESSURE][i] / p[AIR] * p[DRAG_AREA]
    here[TRIM], here[ON] = trim, 0.0
    if not on:
        return
    if not supply_here(p, pack, state, here):
        return
    here[ON] = 1.0
    winding, magnets, rest = state[WINDING], state[MAGNETS], here[REST]
    here[CAP] = p[TORQUE_CAP] * min(max((p[DERATING_END] - winding) / (p[DERATING_END] - p[DERATING_START]), 0.0), 1.0)
    if p[WEAKENING] == 0.0:
        return
    last = len(points) - 1
    row = 0
    while row < last - 1 and points[row + 1] < rest:
        row += 1
    warm = min(max((winding - p[COLD_WINDING]) / (p[HOT_WINDING] - p[COLD_WINDING]), 0.0), 1.0)
    mild = min(max((magnets - p[COLD_MAGNETS]) / (p[HOT_MAGNETS] - p[COLD_MAGNETS]), 0.0), 1.0)
    here[VOLTAGE_ROW] = 4.0 * row
    here[VOLTAGE_PART] = min(max((rest - points[row]) / (points[row + 1] - points[row]), 0.0), 1.0)
    here[COLD], here[COLD_WARM] = (1.0 - warm) * (1.0 - mild), (1.0 - warm) * mild
    here[WARM_COLD], here[WARM] = warm * (1.0 - mild), warm * mild


def supply_here(p, pack, state, here):
    """Motor and packs as warm and as full as they are, into ``here``; whether the packs keep the electronics up."""
    here[FLUX] = max(p[CONSTANT] * (1.0 + p[CONSTANT_GROWTH] * (state[MAGNETS] - p[REFERENCE])), p[LEAST_CONSTANT])
    here[RESISTANCE] = p[WINDING_RESISTANCE] * (1.0 + p[WINDING_GROWTH] * (state[WINDING] - p[REFERENCE])) + p[BRIDGE_RESISTANCE]
    points, charge, row = pack[0], state[CHARGE_LEFT], int(here[PACK_ROW])
    last = len(points) - 2
    while row < last and points[row + 1] < charge:  # from where it was before: charge changes little
        row += 1
    while row > 0 and points[row] > charge:
        row -= 1
    here[PACK_ROW] = row
    part = min(max((charge - points[row]) / (points[row + 1] - points[row]), 0.0), 1.0)
    for k in range(1, 6):
        values = pack[k]
        here[REST + k - 1] = values[row] + (values[row + 1] - values[row]) * part
    # an earlier load may have pulled them down further than this one would
    source = max(here[REST] - state[FAST_SAG] - state[SLOW_SAG], 0.0)
    here[DRAWN] = min(here[DRAWN], 0.2499 * source * source / here[INNER])
    return here[DRAWN] >= p[STANDBY]


def current_at(p, here, torque):
    """Phase current, peak, of a torque."""
    amps = torque / here[FLUX]
    if p[SATURATION] > 0.0:
        share = amps * p[SATURATION]
        amps /= math.sqrt(max(1.0 - share * share, 1e-9))
    return amps


def torque_at(p, here, amps):
    """Torque of a phase current, and its slope."""
    if p[SATURATION] > 0.0:
        kept = 1.0 / math.sqrt(1.0 + (p[SATURATION] * amps) ** 2)
        return here[FLUX] * amps * kept, here[FLUX] * kept**3
    return here[FLUX] * amps, here[FLUX]


def torque_at_power(p, here, turning, power, amps):
    """Torque at which the bus takes a power, sought from a current by Newton's method; inf where saturation leaves none."""
    torque, rise = torque_at(p, here, amps)
    if p[SATURATION] == 0.0:
        return torque
    for _ in range(30):
        over = 1.5 * here[RESISTANCE] * amps * amps + torque * turning + p[STANDBY] - power
        slope = 3.0 * here[RESISTANCE] * amps + rise * turning
        if abs(over) <= 1e-10 * (1.0 + abs(power)) or slope == 0.0:
            break
        amps -= over / slope
        torque, rise = torque_at(p, here, amps)
    return torque if abs(over) <= 1e-7 * (1.0 + abs(power)) else math.inf


def slack_at(p, here, turning, amps):
    """What bus voltage and power leave at a quadrature current, as in the limits of a drive, and its slope."""
    rate, resistance, source, inner = turning * p[POLES], here[RESISTANCE], here[REST], here[INNER] + here[LATE]
    linked = here[FLUX] / (1.5 * p[POLES])
    torque, rise = torque_at(p, here, amps)
    along = rate * p[INDUCTANCE] * amps
    across = resistance * amps + turning * torque / (1.5 * amps) if amps != 0.0 else rate * linked
    wanted = math.sqrt(along * along + across * across)
    excess = max(wanted / p[SHARE] - source / 2, 0.0)
    drawn = 1.5 * resistance * amps * amps + turning * torque + p[STANDBY]
    pull = 2 * excess / (p[SHARE] * max(wanted, 1e-100))
    fall = 0.0
    if p[SATURATION] > 0.0:
        fall = rate * linked * (p[SATURATION] * p[SATURATION]) * amps / (1.0 + (p[SATURATION] * amps) ** 2) ** 1.5
    slope = -pull * (across * (resistance - fall) + along * rate * p[INDUCTANCE]) - inner * (3 * resistance * amps + turning * rise)
    return source * source / 4 - excess * excess - inner * drawn, slope


def within_voltage(p, here, turning, torque):
    """A torque brought back towards 0 to where the voltage allows it, by a bracketed Newton search."""
    amps = current_at(p, here, torque)
    value, slope = slack_at(p, here, turning, amps)
    if value >= 0.0:
        return torque
    inside, outside = 0.0, amps
    for _ in range(60):
        ahead = amps - value / slope if slope != 0.0 else inside
        if not min(inside, outside) < ahead < max(inside, outside):
            ahead = (inside + outside) / 2
        step, amps = ahead - amps, ahead
        value, slope = slack_at(p, here, turning, amps)
        if value >= 0.0:
            inside = amps
        else:
            outside = amps
        if abs(step) <= 1e-12 * abs(amps):
            break
    return torque_at(p, here, amps)[0]


def limits_at(p, high, low, turning, here, found):
    """Greatest and lowest motor torque at a rotation, into ``found``, by the equations of a drive's limits without weakening.

    What the packs give and take asks for a quadratic equation in the current,
    but for saturation.  With weakening current and voltage have a table.
    """
    ohmic, work, standby = 1.5 * here[RESISTANCE], here[FLUX] * turning, p[STANDBY]
    drawn, fed = here[DRAWN] - standby, standby - here[FED]
    found[TOP] = found[BOTTOM] = 0.0
    if drawn < 0.0 or turning > p[FASTEST_TURNING]:
        return
    top = min(torque_at(p, here, p[PHASE_LIMIT])[0], here[CAP])
    bottom = -top
    if p[WEAKENING] > 0.0:
        top, bottom = min(top, tabled(p, high, turning, here)), max(bottom, tabled(p, low, turning, here))
    amps = current_at(p, here, top)
    if ohmic * amps * amps + top * turning > drawn:
        top = torque_at_power(p, here, turning, here[DRAWN], 2 * drawn / (work + math.sqrt(work * work + 4 * ohmic * drawn)))
        amps = current_at(p, here, top)
    back = -current_at(p, here, bottom) if -bottom != top else amps
    if ohmic * back * back + bottom * turning > drawn:  # braking that feeds nothing back, but draws
        bottom = torque_at_power(p, here, turning, here[DRAWN], -(work + math.sqrt(work * work + 4 * ohmic * drawn)) / (2 * ohmic))
        back = -current_at(p, here, bottom)
    if p[WEAKENING] == 0.0:
        most = max(amps, back)
        along, across = turning * p[POLES] * p[INDUCTANCE] * most, here[RESISTANCE] * most + work / 1.5
        half = p[SHARE] * here[REST] / 2
        if along * along + across * across > half * half:  # below half of the voltage at rest it is the power that ends it
            if slack_at(p, here, turning, 0.0)[0] < 0.0:
                return
            top, bottom = within_voltage(p, here, turning, top), within_voltage(p, here, turning, bottom)
            back = -current_at(p, here, bottom)
    # on the way to the lowest most is fed back where the copper loss grows as fast as the power of the shaft
    back = min(back, work / (2 * ohmic))
    if work * back - ohmic * back * back > fed:
        limit = torque_at_power(p, here, turning, here[FED], -2 * fed / (work + math.sqrt(work * work - 4 * ohmic * fed)))
        if limit <= 0.0:  # else saturation lets no current feed back as much
            bottom = max(bottom, limit)
    found[TOP], found[BOTTOM] = top, bottom


def blended(table, column, here):
    """A limit at a column of its table, between voltages and temperatures; rows are four states of the temperatures for each voltage."""
    row, part = int(here[VOLTAGE_ROW]), here[VOLTAGE_PART]
    total = 0.0
    for place in range(4):
        share = here[COLD + place]
        if share != 0.0:
            less, more = table[row + place][column], table[row + 4 + place][column]
            total += share * (less + (more - less) * part)
    return total


def tabled(p, table, turning, here):
    """A limit at a rotation from its table; beyond the table with the power of its end."""
    place = turning / p[TURNING_STEP]
    column, end, scale = int(place), len(table[0]) - 1, 1.0
    if column >= end:
        scale = end / place
        column, place = end - 1, float(end)
    before, after = blended(table, column, here), blended(table, column + 1, here)
    return scale * (before + (after - before) * (place - column))


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
    pedal = (needed - trim) / (lever + gain)
    one, other = gain * pedal * floor + trim, gain * pedal * (floor + swing) + trim
    if low <= one <= high and low <= other <= high:
        return pedal
    below, above = (needed - high) / lever, (needed - low) / lever
    pedal = min(max(pedal, below), above)
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


def road_force(p, here, speed):
    """The sum of the same at a speed."""
    along = speed + here[WIND]
    return here[STEADY] + here[AIR_FACTOR] * along * math.sqrt(along * along + here[ACROSS]) + p[BEARING] + p[BEARING_PER_SPEED] * speed


def ride_to(p, high, low, length, begin, end, here, torque, weight, found):
    """What it takes to be at a speed at the end of a step: mean pedal torque, and the rest in ``found``."""
    speed = (begin + end) / 2
    turning = speed / p[RADIUS]
    needed = p[RADIUS] * (p[HEAVY] * (end * end - begin * begin) / (2 * length) + road_force(p, here, speed))
    drag = driving = resisting = set_trim = 0.0
    if p[HAS_MOTOR] != 0.0 and turning > 0.0:
        drag = p[HYSTERESIS] + p[EDDY] * turning
    if here[ON] != 0.0:
        limits_at(p, high, low, turning, here, found)
        driving, resisting = p[DRIVING_GAIN], p[RESISTING_GAIN]
        set_trim = min(max(here[TRIM], found[BOTTOM]), found[TOP])
    else:
        found[TOP] = found[BOTTOM] = 0.0
    needed += drag
    lever, gain = p[EFFICIENCY] / p[RATIO], driving
    if needed < set_trim:
        lever, gain = 1.0 / (p[EFFICIENCY] * p[RATIO]), resisting
    pedal = pedal_for(needed, lever, gain, set_trim, found[BOTTOM], found[TOP], p[FLOOR], p[SWING], p[FELT], torque, weight)
    found[PEDAL], found[NEEDED], found[LEVER], found[GAIN], found[SET_TRIM] = pedal, needed, lever, gain, set_trim
    found[DRAG], found[CADENCE] = drag, turning / p[RATIO]
    return pedal


def pushing(p, power, cadence):
    """Greatest pedal torque of the legs at a power that they may give."""
    most = most_torque(p, cadence)
    return min(most, power / cadence) if cadence > 0.0 else most


def fastest_end(p, high, low, length, begin, goal, work_left, here, torque, weight, found):
    """The speed at the end of a step, at most the goal; below 0 where the legs cannot ride at all.

    Legs ease off at their ordinary power, but give hard power up to the pace
    that is worth it.  What it takes rises with the speed: a secant search in a
    bracket, begun with the slope that inertia and air give.
    """
    power = faded(p, p[LEG_POWER], work_left)
    pedal = ride_to(p, high, low, length, begin, goal, here, torque, weight, found)
    if pedal <= pushing(p, power, found[CADENCE]):
        return goal
    hard = faded(p, p[HARD_POWER], work_left)
    pace = min(goal, p[PACE])
    upper, lower, known = goal, 0.0, False
    speed, excess = goal, pedal - pushing(p, power, found[CADENCE])
    if pace < goal:
        pedal = ride_to(p, high, low, length, begin, pace, here, torque, weight, found)
        speed, excess = pace, pedal - pushing(p, power, found[CADENCE])
    if excess <= 0.0:
        lower, known = pace, True
    else:
        power, upper = hard, pace
        excess = pedal - pushing(p, power, found[CADENCE])
        if excess <= 0.0:
            return pace
    along = (begin + speed) / 2 + here[WIND]
    rise = p[RADIUS] * (p[HEAVY] * speed / length + here[AIR_FACTOR] * abs(along)) / (found[LEVER] + found[GAIN])
    if begin + speed > 0.0:
        rise += max(pushing(p, power, found[CADENCE]), 0.0) / (begin + speed)
    before, was = speed, excess
    speed = speed - excess / rise if rise > 0.0 else (lower + upper) / 2
    for count in range(90):
        if not lower < speed < upper or count % 6 == 5:
            if speed <= lower and not known:
                pedal = ride_to(p, high, low, length, begin, 0.0, here, torque, weight, found)
                if pedal > pushing(p, power, found[CADENCE]):
                    return -1.0
                known = True
            speed = (lower + upper) / 2
        pedal = ride_to(p, high, low, length, begin, speed, here, torque, weight, found)
        excess = pedal - pushing(p, power, found[CADENCE])
        if abs(excess) <= 1e-10 or upper - lower <= 1e-13:
            break
        if excess > 0.0:
            upper = speed
        else:
            lower, known = speed, True
        step = excess * (speed - before) / (excess - was) if excess != was else upper
        before, was = speed, excess
        speed -= step
    return speed


def can_hold(p, high, low, speed, work_left, here, torque, weight, found):
    """Whether the legs can hold a speed as the road is."""
    pedal = ride_to(p, high, low, 1.0, speed, speed, here, torque, weight, found)
    return pedal <= pushing(p, faded(p, p[HARD_POWER], work_left), found[CADENCE])


def warm_up(p, conductance, speed, time, copper, iron, state, links):
    """Temperatures after a time, by Heun's method in parts short enough for the quickest body."""
    place = speed / p[SPEED_STEP]
    index, last = int(place), len(conductance[0]) - 1
    if index >= last:
        index, place = last - 1, float(last)
    part = place - index
    for k in range(7):
        row = conductance[k]
        links[k] = row[index] + (row[index + 1] - row[index]) * part
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


def draw_on(p, pack, time, turning, torque, weight, on, state, totals, kept, here):
    """Currents over the turn for the torques in ``torque``: losses and charge of a time; copper loss as a power."""
    if not on:
        kept[AT_POWER] = 0.0
        if p[CHARGE] > 0.0:
            relax(p, time, 0.0, 0.0, state)
        return 0.0
    rest, inner = here[REST], here[INNER]
    sag = state[FAST_SAG] + state[SLOW_SAG]
    source = rest - sag
    ohmic, flux, standby, roll = 1.5 * here[RESISTANCE], here[FLUX], p[STANDBY], p[SATURATION]
    square = current = squared = 0.0
    for k in range(9):
        share = weight[k]
        if share == 0.0:
            continue
        amps = torque[k] / flux if roll == 0.0 else current_at(p, here, torque[k])
        bus = ohmic * amps * amps + torque[k] * turning + standby
        drawn = 2 * bus / (source + math.sqrt(max(source * source - 4 * inner * bus, 0.0)))
        square += share * amps * amps
        current += share * drawn
        squared += share * drawn * drawn
    bridge = 1.5 * p[BRIDGE_RESISTANCE] * square
    copper = ohmic * square - bridge
    given = rest * current * time
    totals[CELLS] += given
    if current < 0.0:
        totals[FED_BACK] -= given
    totals[SUM_PACK] += (inner * squared + sag * current) * time
    totals[SUM_COPPER] += copper * time
    totals[SUM_BRIDGE] += bridge * time
    totals[SUM_STANDBY] += standby * time
    kept[AT_POWER] = rest * current
    relax(p, time, current, here[LATE], state)
    return copper


def relax(p, time, current, late, state):
    """Charge and sag of the packs after a time at a mean current; ``late`` is the resistance that follows with a delay."""
    goal = p[FAST_SHARE] * late * current
    state[FAST_SAG] = goal + (state[FAST_SAG] - goal) * math.exp(-time / p[FAST_TIME])
    goal = late * current - goal
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


def rest_for(p, pack, conductance, time, state, totals, kept, torque, weight, links, here):
    """A time at a standstill: the electronics draw, the motor cools, the legs recover."""
    parts = int(time / LONGEST) + 1
    part = time / parts
    still(weight, torque)
    for _ in range(parts):
        on = p[HAS_MOTOR] != 0.0 and state[CHARGE_LEFT] > 0.0
        if on:
            on = supply_here(p, pack, state, here)
        copper = draw_on(p, pack, part, 0.0, torque, weight, on, state, totals, kept, here)
        if p[HAS_MOTOR] != 0.0:
            warm_up(p, conductance, 0.0, part, copper, 0.0, state, links)
        tire(p, 0.0, part, state)
    state[TIME] += time


def walked(p, route, i, pack, conductance, length, state, totals, row, forces, torque, weight, links, here):
    """A step on foot, the machine pushed: what was ridden fast is lost on getting off."""
    begin = state[SPEED]
    if begin > 0.0:
        totals[SUM_GETTING_OFF] += p[HEAVY] * begin * begin / 2
        totals[SUM_KINETIC] -= p[HEAVY] * begin * begin / 2
        state[SPEED] = 0.0
        rest_for(p, pack, conductance, 2 * GETTING_OFF, state, totals, row, torque, weight, links, here)
        totals[STANDING] += 2 * GETTING_OFF
    time = length / p[WALK]
    pull = road_forces(p, route, i, p[WALK], forces)
    still(weight, torque)
    on = p[HAS_MOTOR] != 0.0 and state[CHARGE_LEFT] > 0.0
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
    if on:
        on = supply_here(p, pack, state, here)
    copper = draw_on(p, pack, time, turning, torque, weight, on, state, totals, row, here)
    if p[HAS_MOTOR] != 0.0:
        warm_up(p, conductance, p[WALK], time, copper, drag * turning, state, links)
    tire(p, max(pull * p[WALK], 0.0), time, state)
    state[TIME] += time
    row[AT_PEDAL] = row[AT_MOTOR] = row[AT_TRIM] = row[AT_RESERVE] = row[AT_BRAKING_RESERVE] = row[AT_CUT_OUT] = row[AT_BRAKE] = 0.0
    row[AT_WAY] = 1.0


def run_away(p, here, length, begin, sought, pull):
    """The speed at the end of a step under a force that does not hold it at the one sought: faster, by a bracketed Newton search."""
    slow = speed = sought
    fast = math.sqrt(max(begin * begin + 2 * length * (pull - road_force(p, here, (begin + sought) / 2)) / p[HEAVY], sought * sought))
    for _ in range(60):
        mean = (begin + speed) / 2
        along = mean + here[WIND]
        over = speed * speed - begin * begin - 2 * length * (pull - road_force(p, here, mean)) / p[HEAVY]
        if over > 0.0:
            fast = speed
        else:
            slow = speed
        rise = 2 * speed + length * (2 * here[AIR_FACTOR] * math.sqrt(along * along + here[ACROSS]) + p[BEARING_PER_SPEED]) / p[HEAVY]
        ahead = speed - over / rise if rise > 0.0 else fast
        if not slow <= ahead <= fast:
            ahead = (slow + fast) / 2
        close = abs(ahead - speed) <= 1e-15 * ahead
        speed = ahead
        if close:
            break
    return speed


def ridden(
    p, route, i, pack, conductance, high, low, length, end, state, totals, extremes, row, here, found, forces, torque, weight, links
):
    """A step in the saddle to a speed that was sought, whose needs are in ``found``; the speed at its end."""
    begin = state[SPEED]
    pedal, needed, lever, gain, set_trim = found[PEDAL], found[NEEDED], found[LEVER], found[GAIN], found[SET_TRIM]
    bottom, top, drag, cadence = found[BOTTOM], found[TOP], found[DRAG], found[CADENCE]
    floor, swing, felt = p[FLOOR], p[SWING], p[FELT]
    brake = 0.0
    comfortable = min(pushing(p, p[LEG_POWER], cadence), p[BACKWARD] * most_torque(p, cadence))
    over = False
    if pedal < -comfortable:
        # the legs hold back as hard as they like to, the brake takes the rest, then the legs what they can
        pedal = -comfortable
        brake = lever * pedal + turn_nodes(gain * pedal, set_trim, bottom, top, floor, swing, felt, torque, weight) - needed
        if brake > p[BRAKE]:
            brake = p[BRAKE]
            least = pedal_for(needed + brake, lever, gain, set_trim, bottom, top, floor, swing, felt, torque, weight)
            pedal = max(least, -p[BACKWARD] * most_torque(p, cadence))
            over = pedal > least
    mean = turn_nodes(gain * pedal, set_trim, bottom, top, floor, swing, felt, torque, weight)
    wheel = lever * pedal + mean
    if over:
        # nothing holds the speed down: it is what legs, motor and brake give at the speed that comes of it
        totals[OVER] += length
        sought = end
        for _ in range(6):
            turning = (begin + end) / 2 / p[RADIUS]
            if p[HAS_MOTOR] != 0.0:
                drag = p[HYSTERESIS] + p[EDDY] * turning
            if here[ON] != 0.0:
                limits_at(p, high, low, turning, here, found)
                bottom, top = found[BOTTOM], found[TOP]
                set_trim = min(max(here[TRIM], bottom), top)
            pedal = -p[BACKWARD] * most_torque(p, turning / p[RATIO])
            mean = turn_nodes(gain * pedal, set_trim, bottom, top, floor, swing, felt, torque, weight)
            wheel = lever * pedal + mean
            pull = (wheel - drag - brake) / p[RADIUS]
            before, end = end, run_away(p, here, length, begin, sought, pull)
            if abs(end - before) <= 1e-9 * end:
                break
        speed = (begin + end) / 2
        road_forces(p, route, i, speed, forces)
        # the last speed is that of these forces: what the step changes is its own kinetic energy
        end = math.sqrt(max(begin * begin + 2 * length * (pull - forces[0] - forces[1] - forces[2] - forces[3]) / p[HEAVY], 0.0))
    else:
        road_forces(p, route, i, (begin + end) / 2, forces)
    time = 2 * length / (begin + end)
    turning = length / time / p[RADIUS]
    angle = length / p[RADIUS]
    least, most = gain * pedal * floor + set_trim, gain * pedal * (floor + swing) + set_trim
    between = set_trim if felt < 1.0 else least
    spare = top - max(min(max(least, most, between), top), bottom)
    worked = pedal * angle / p[RATIO]
    if worked > 0.0:
        totals[LEGS_GIVE] += worked
        totals[SUM_GEAR] += (1.0 - p[EFFICIENCY]) * worked
        totals[LEGS_AT_WHEEL] += lever * pedal * angle
    else:
        totals[LEGS_TAKE] -= worked
        totals[SUM_GEAR] -= (1.0 - p[EFFICIENCY]) * lever * pedal * angle
    gained = p[HEAVY] * (end * end - begin * begin) / 2
    totals[SUM_ROLLING] += forces[0] * length
    totals[SUM_SLOPE] += forces[1] * length
    totals[SUM_AIR] += forces[2] * length
    totals[SUM_BEARING] += forces[3] * length
    totals[SUM_KINETIC] += gained
    totals[SUM_BRAKE] += brake * angle
    totals[MOTOR_AT_WHEEL] += max(mean, 0.0) * angle
    totals[GAINED] += max(gained, 0.0)
    totals[CLIMBED] += max(forces[1], 0.0) * length
    totals[SUM_IRON] += drag * angle
    totals[MOVING] += time
    if set_trim != here[TRIM] or abs(gain * pedal + set_trim - mean) > 1e-9:
        totals[CUT] += length
    copper = draw_on(p, pack, time, turning, torque, weight, here[ON] != 0.0, state, totals, row, here)
    if p[HAS_MOTOR] != 0.0:
        warm_up(p, conductance, length / time, time, copper, drag * turning, state, links)
    tire(p, max(worked / time, 0.0), time, state)
    state[SPEED] = end
    state[TIME] += time
    row[AT_PEDAL], row[AT_MOTOR], row[AT_TRIM], row[AT_WAY], row[AT_BRAKE] = pedal, mean, set_trim, 0.0, brake
    row[AT_RESERVE], row[AT_BRAKING_RESERVE] = spare, min(max(min(least, most, between), bottom), top) - bottom
    # what the legs would have to do without the motor, by the lever of the way in which they then work, less what they do
    step = wheel / (p[EFFICIENCY] / p[RATIO] if wheel > 0.0 else 1.0 / (p[EFFICIENCY] * p[RATIO])) - pedal
    row[AT_CUT_OUT] = step
    extremes[LEAST_RESERVE] = min(extremes[LEAST_RESERVE], spare)
    extremes[MOST_CUT_OUT] = max(extremes[MOST_CUT_OUT], abs(step))
    return end


def march(p, route, ceiling, pack, conductance, high, low, points, state, totals, extremes, kept, first, last):
    """Ride the steps from ``first`` up to ``last``, that one not counted.

    Args:
        p: the ride's row of numbers.
        route: columns of the route, one entry a step.
        ceiling: speeds at the points that the rider does not pass.
        pack: states of charge, and at them voltage at rest, ohmic and delayed resistance, greatest and lowest power of the packs together.
        conductance: seven tables over speed, in the order of ``warm_up``.
        high: greatest motor torque that current and voltage allow, see ``blended``; low: the lowest.
        points: voltages of the packs at rest of these tables.
        state: where the ride is; changed.
        totals: sums over the ride; changed.
        extremes: what was narrowest; changed.
        kept: a row for each step, or one row that is used again and again.
        first, last: steps.
    """
    torque, weight, forces, links = [0.0] * 9, [0.0] * 9, [0.0] * 4, [0.0] * 7
    here, found = [0.0] * HERE, [0.0] * FOUND
    for i in range(first, last):
        row = kept[i] if len(kept) > 1 else kept[0]
        length, begin, before = route[LENGTH][i], state[SPEED], state[CHARGE_LEFT]
        goal = min(ceiling[i + 1], math.sqrt(begin * begin + 2 * p[QUICKER] * length))
        on = p[HAS_MOTOR] != 0.0 and before > 0.0
        step_here(p, route, i, pack, points, state, on, trim_for(p, route[SINE][i]), here)
        rides = begin + goal > 0.0
        if begin == 0.0 and rides:  # nobody mounts where it cannot be ridden for long
            rides = can_hold(p, high, low, min(p[LOWEST], goal), state[WORK_LEFT] / IN_HAND, here, torque, weight, found)
        end = 0.0
        if rides:
            end = fastest_end(p, high, low, length, begin, goal, state[WORK_LEFT], here, torque, weight, found)
            rides = end >= 0.0 and begin + end > 0.0
        if rides and end < min(p[LOWEST], goal) and begin > 0.0:
            speed = p[LOWEST]
            rides = can_hold(p, high, low, speed, state[WORK_LEFT], here, torque, weight, found)
            ride_to(p, high, low, length, begin, end, here, torque, weight, found)
        if not rides:
            walked(p, route, i, pack, conductance, length, state, totals, row, forces, torque, weight, links, here)
        else:
            ridden(
                p,
                route,
                i,
                pack,
                conductance,
                high,
                low,
                length,
                end,
                state,
                totals,
                extremes,
                row,
                here,
                found,
                forces,
                torque,
                weight,
                links,
            )
        if state[MET] == state[GONE]:  # the charge held back has not been met so far
            after = state[CHARGE_LEFT]
            share = 1.0
            if after <= p[HELD_BACK]:
                share = max(before - p[HELD_BACK], 0.0) / (before - after) if before > after else 0.0
            state[MET] += length * share
        state[GONE] += length
        if route[STOP][i] > 0.0:
            if state[SPEED] > 0.0:
                totals[SUM_GETTING_OFF] += p[HEAVY] * state[SPEED] * state[SPEED] / 2
                totals[SUM_KINETIC] -= p[HEAVY] * state[SPEED] * state[SPEED] / 2
                state[SPEED] = 0.0
            standing, power = route[STOP][i] + 2 * GETTING_OFF, row[AT_POWER]
            rest_for(p, pack, conductance, standing, state, totals, row, torque, weight, links, here)
            row[AT_POWER] = power
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
