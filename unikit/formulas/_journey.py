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
    # mass of rider and machine, the same with the wheel's inertia, wheel and gear
    MASS, HEAVY, RADIUS, RATIO, EFFICIENCY,
    # the road's resistance; bearings at standstill and by speed
    ROLLING, DRAG_AREA, BEARING, BEARING_PER_SPEED,
    # share of the felt pedal torque that the motor gives while legs drive, and while they hold back
    DRIVING_GAIN, RESISTING_GAIN,
    # legs: crank torque at standstill, cadence at which none is left, share of it backward, critical power and work above it
    STRENGTH, FASTEST, BACKWARD, CRITICAL, CAPACITY,
    # ordinary power; power up to PACE, the speed that is worth it; speed below which the rider walks, and how fast
    LEG_POWER, HARD_POWER, PACE, LOWEST, WALK,
    # acceleration that the rider takes, and greatest torque of the brake
    QUICKER, BRAKE,
    # trim torque: policy 0 none, 1 steps, 2 level
    TRIM_POLICY, TRIM_STEP, TRIM_CAP,
    # the pedals' pulse at the sensor: its lowest and its swing for a mean of 1, and the share of the turn in which it feels anything
    FLOOR, SWING, FELT,
    # motor: torque per ampere at the reference temperature, its growth with it, the least of it; one over the saturation current
    HAS_MOTOR, CONSTANT, CONSTANT_GROWTH, LEAST_CONSTANT, SATURATION,
    WINDING_RESISTANCE, WINDING_GROWTH, REFERENCE, HYSTERESIS, EDDY, POLES, INDUCTANCE,
    # electronics: limits of torque, phase current and rotation; phase voltage over bus voltage; current against the magnets or 0
    BRIDGE_RESISTANCE, STANDBY, TORQUE_CAP, DERATING_START, DERATING_END, PHASE_LIMIT, FASTEST_TURNING, SHARE, WEAKENING,
    # packs together: charge; share and time of the resistance that follows soon, the rest is slow; charge held back
    CHARGE, FAST_SHARE, FAST_TIME, SLOW_TIME, HELD_BACK,
    # air's temperature; where the wind comes from, or how it meets the rider; sunshine on the motor
    AIR, WIND_NORTH, WIND_EAST, HEAD_WIND, CROSS_WIND, SUN,
    # heat capacities, RING_CAPACITY 0 where magnets count with the housing; rate of the quickest body
    WINDING_CAPACITY, STATOR_CAPACITY, RING_CAPACITY, HOUSING_CAPACITY, QUICKEST,
    # steps and ends of the tables of limits, over rotation and temperatures, and of conductances, over speed
    TURNING_STEP, SPEED_STEP, COLD_WINDING, HOT_WINDING, COLD_MAGNETS, HOT_MAGNETS,
    PARAMETERS,
) = range(73)  # fmt: skip

# -- columns of a route: PRESSURE over the gas constant, STOP at the end of the step -------
LENGTH, SINE, COSINE, PRESSURE, NORTH, EAST, SHELTER, SURFACE, STOP, ROUTE = range(10)

# -- what is carried from step to step; GONE: how far so far, MET: the same until the charge held back was met ----
SPEED, TIME, WORK_LEFT, CHARGE_LEFT, FAST_SAG, SLOW_SAG, WINDING, STATOR, MAGNETS, HOUSING, GONE, MET, STATE = range(13)

# -- sums over the ride ------------------------------------------------------------------
(
    # who gave it, J
    CELLS, FED_BACK, LEGS_GIVE, LEGS_TAKE, ON_FOOT,
    # where it went, J: the road's four in the order of ``road_forces``
    SUM_ROLLING, SUM_SLOPE, SUM_AIR, SUM_BEARING, SUM_KINETIC, SUM_BRAKE, SUM_GETTING_OFF,
    SUM_GEAR, SUM_IRON, SUM_COPPER, SUM_BRIDGE, SUM_STANDBY, SUM_PACK,
    # work at the wheel while they drive, kinetic energy and work uphill, what comes back of them not counted, J
    LEGS_AT_WHEEL, MOTOR_AT_WHEEL, GAINED, CLIMBED,
    # s
    MOVING, STANDING,
    # m: on foot, with a limit of the motor met, with nothing that holds the speed down
    WALKED, CUT, OVER,
    TOTALS,
) = range(28)  # fmt: skip

# -- what is kept of each step; AT_POWER: from the cells, AT_WAY: 0 ridden, 1 walked ----------
(
    AT_SPEED, AT_TIME, AT_PEDAL, AT_MOTOR, AT_TRIM, AT_RESERVE, AT_BRAKING_RESERVE, AT_CUT_OUT, AT_BRAKE,
    AT_CHARGE, AT_POWER, AT_WINDING, AT_MAGNETS, AT_WORK_LEFT, AT_WAY,
    KEPT,
) = range(16)  # fmt: skip

# -- of the extremes of a ride ------------------------------------------------------------
LEAST_RESERVE, MOST_CUT_OUT, HOTTEST_WINDING, HOTTEST_MAGNETS, LEAST_WORK, EXTREMES = range(6)

# -- of a step: forces, motor and packs as they are, then what a speed at its end takes ------
(
    # forces; wind against the travel, square of the wind across, half the density times the drag area
    ROLL, RISE, WIND, ACROSS, AIR_FACTOR,
    # whether the electronics are up, greatest torque after derating, trim torque dialled in
    ON, CAP, TRIM,
    # torque per ampere before the iron saturates, resistance of winding and bridge
    FLUX, RESISTANCE,
    # packs, in the order of their table: voltage at rest, resistance at once and with delay, most and least power, below 0 fed back
    REST, INNER, LATE, DRAWN, FED, PACK_ROW,
    # where it lies in the tables of limits: shares of the four states of winding and magnets
    VOLTAGE_ROW, VOLTAGE_PART, COLD, COLD_WARM, WARM_COLD, WARM,
    # at a speed: torque at the wheel that it takes, pedal torque, wheel and motor torque of 1 of it, cadence
    NEEDED, PEDAL, LEVER, GAIN, CADENCE,
    # motor there: limits, trim torque within them, drag of its iron
    BOTTOM, TOP, SET_TRIM, DRAG,
    # where four forces begin, motor torque over the turn at nine points, their weights, and seven conductances
    FORCES, TORQUE, WEIGHTS, THROUGH, HERE,
) = (*range(32), 35, 44, 53, 60)  # fmt: skip

FADE = 0.1  # share of the work capacity over whose last part the legs come back to critical power
GETTING_OFF = 3.0  # s to get off, and as long to mount again; common practice, no source
RESTED = 0.5  # share of the work capacity below which nobody mounts for a hill that critical power does not ride; chosen, no source
LONGEST = 10.0  # s of a part of a stop
# Gauss and Legendre's six points on (0, 1)
NODE = (0.03376524289842398, 0.1693953067668677, 0.38069040695840155, 0.6193095930415985, 0.8306046932331323, 0.966234757101576)
WEIGHT = (0.08566224618958518, 0.1803807865240693, 0.23395696728634552, 0.23395696728634552, 0.1803807865240693, 0.08566224618958518)
QUARTER = math.pi / 2
SINES = tuple(math.sin(QUARTER * node) for node in NODE)


def step_here(p, route, i, tables, state, here):
    """What does not depend on the speed at the end of the step, into ``here``."""
    shelter, north, east = route[SHELTER][i], route[NORTH][i], route[EAST][i]
    weight = p[MASS] * 9.81
    across = p[WIND_EAST] * north - p[WIND_NORTH] * east + p[CROSS_WIND] * shelter
    here[ROLL] = p[ROLLING] * route[SURFACE][i] * weight * route[COSINE][i]
    here[RISE] = weight * route[SINE][i]
    here[WIND] = p[WIND_NORTH] * north + p[WIND_EAST] * east + p[HEAD_WIND] * shelter
    here[ACROSS] = across * across
    here[AIR_FACTOR] = 0.5 * route[PRESSURE][i] / p[AIR] * p[DRAG_AREA]
    here[TRIM] = trim_for(p, here[RISE])
    supply_here(p, tables[0], state, here)
    if here[ON] == 0.0:
        return
    winding, magnets, rest = state[WINDING], state[MAGNETS], here[REST]
    here[CAP] = p[TORQUE_CAP] * min(max((p[DERATING_END] - winding) / (p[DERATING_END] - p[DERATING_START]), 0.0), 1.0)
    if p[WEAKENING] == 0.0:
        return
    points = tables[4]
    row = 0
    while row < len(points) - 2 and points[row + 1] < rest:
        row += 1
    warm = min(max((winding - p[COLD_WINDING]) / (p[HOT_WINDING] - p[COLD_WINDING]), 0.0), 1.0)
    mild = min(max((magnets - p[COLD_MAGNETS]) / (p[HOT_MAGNETS] - p[COLD_MAGNETS]), 0.0), 1.0)
    here[VOLTAGE_ROW] = 4.0 * row
    here[VOLTAGE_PART] = min(max((rest - points[row]) / (points[row + 1] - points[row]), 0.0), 1.0)
    here[COLD], here[COLD_WARM] = (1.0 - warm) * (1.0 - mild), (1.0 - warm) * mild
    here[WARM_COLD], here[WARM] = warm * (1.0 - mild), warm * mild


def trim_for(p, slope_force):
    """Trim torque that the rider has dialled in for a slope."""
    if p[TRIM_POLICY] == 0.0:
        return 0.0
    wanted = p[RADIUS] * slope_force
    if p[TRIM_POLICY] == 1.0 and p[TRIM_STEP] > 0.0:
        wanted = p[TRIM_STEP] * round(wanted / p[TRIM_STEP])
    return min(max(wanted, -p[TRIM_CAP]), p[TRIM_CAP])


def supply_here(p, pack, state, here):
    """Motor and packs as warm and as full as they are, and whether the packs keep the electronics up, into ``here``."""
    here[ON] = 0.0
    if p[HAS_MOTOR] == 0.0 or state[CHARGE_LEFT] <= 0.0:
        return
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
    here[ON] = 1.0 if here[DRAWN] >= p[STANDBY] else 0.0


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


def limits_at(p, tables, turning, here):
    """Greatest and lowest motor torque at a rotation, into ``here``, by the equations of a drive's limits without weakening.

    What the packs give and take asks for a quadratic equation in the current,
    but for saturation.  With weakening current and voltage have a table.
    """
    ohmic, work, standby = 1.5 * here[RESISTANCE], here[FLUX] * turning, p[STANDBY]
    drawn, fed = here[DRAWN] - standby, standby - here[FED]
    here[TOP] = here[BOTTOM] = 0.0
    if drawn < 0.0 or turning > p[FASTEST_TURNING]:
        return
    top = min(torque_at(p, here, p[PHASE_LIMIT])[0], here[CAP])
    bottom = -top
    if p[WEAKENING] > 0.0:
        top, bottom = min(top, tabled(p, tables[2], turning, here)), max(bottom, tabled(p, tables[3], turning, here))
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
    here[TOP], here[BOTTOM] = top, bottom


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


def turn_nodes(p, pedal, here):
    """Motor torque at points of the crank turn and their weights, as in the split of torque; the mean."""
    height, trim, low, high, felt = here[GAIN] * pedal, here[SET_TRIM], here[BOTTOM], here[TOP], p[FELT]
    bottom, span = height * p[FLOOR] + trim, height * p[SWING]
    top = bottom + span
    first, last = 0.0, QUARTER
    if low <= bottom <= high and low <= top <= high:
        for k in range(6):
            here[TORQUE + k] = bottom + span * SINES[k]
            here[WEIGHTS + k] = felt * WEIGHT[k]
    else:
        one = (low - bottom) / span if span != 0.0 else 0.0
        other = (high - bottom) / span if span != 0.0 else 1.0
        first = math.asin(min(max(min(one, other), 0.0), 1.0))
        last = math.asin(min(max(max(one, other), 0.0), 1.0))
        for k in range(6):
            given = bottom + span * math.sin(first + (last - first) * NODE[k])
            here[TORQUE + k] = min(max(given, low), high)
            here[WEIGHTS + k] = felt * (last - first) / QUARTER * WEIGHT[k]
    here[TORQUE + 6], here[WEIGHTS + 6] = min(max(bottom, low), high), felt * first / QUARTER
    here[TORQUE + 7], here[WEIGHTS + 7] = min(max(top, low), high), felt * (QUARTER - last) / QUARTER
    here[TORQUE + 8], here[WEIGHTS + 8] = trim, 1.0 - felt
    mean = 0.0
    for k in range(9):
        mean += here[WEIGHTS + k] * here[TORQUE + k]
    return mean


def pedal_for(p, needed, here):
    """Mean pedal torque at which legs and motor together give a wheel torque; a bracketed Newton search where a limit is met."""
    lever, gain, trim, low, high = here[LEVER], here[GAIN], here[SET_TRIM], here[BOTTOM], here[TOP]
    pedal = (needed - trim) / (lever + gain)
    one, other = gain * pedal * p[FLOOR] + trim, gain * pedal * (p[FLOOR] + p[SWING]) + trim
    if low <= one <= high and low <= other <= high:
        return pedal
    below, above = (needed - high) / lever, (needed - low) / lever
    pedal = min(max(pedal, below), above)
    for _ in range(60):
        error = lever * pedal + turn_nodes(p, pedal, here) - needed
        if abs(error) <= 1e-12 * (abs(needed) + 1.0):
            break
        if error < 0.0:
            below = pedal
        else:
            above = pedal
        rise = 0.0
        for k in range(6):
            if low < here[TORQUE + k] < high and pedal != 0.0:
                rise += here[WEIGHTS + k] * (here[TORQUE + k] - trim) / pedal
        pedal -= error / (lever + rise)
        if not below <= pedal <= above:
            pedal = (below + above) / 2
    return pedal


def road_forces(p, speed, here):
    """Rolling, slope, air and bearings at a speed, each by its own formula; their sum."""
    along = speed + here[WIND]
    here[FORCES], here[FORCES + 1] = here[ROLL], here[RISE]
    here[FORCES + 2] = here[AIR_FACTOR] * along * math.sqrt(along * along + here[ACROSS])
    here[FORCES + 3] = p[BEARING] + p[BEARING_PER_SPEED] * speed
    return here[FORCES] + here[FORCES + 1] + here[FORCES + 2] + here[FORCES + 3]


def faded(p, power, work_left):
    """A leg power as far as what is left of the work above critical power lets it be."""
    if power <= p[CRITICAL]:
        return power
    return p[CRITICAL] + (power - p[CRITICAL]) * min(max(work_left / (FADE * p[CAPACITY]), 0.0), 1.0)


def most_torque(p, cadence):
    """Greatest mean crank torque at a cadence."""
    return max(p[STRENGTH] * (1.0 - cadence / p[FASTEST]), 0.0)


def pushing(p, power, cadence):
    """Greatest pedal torque of the legs at a power that they may give."""
    most = most_torque(p, cadence)
    return min(most, power / cadence) if cadence > 0.0 else most


def motor_at(p, tables, speed, here):
    """Cadence, and drag, limits and trim torque of the motor at a speed, into ``here``."""
    turning = speed / p[RADIUS]
    here[CADENCE] = turning / p[RATIO]
    here[DRAG] = p[HYSTERESIS] + p[EDDY] * turning if turning > 0.0 else 0.0
    here[TOP] = here[BOTTOM] = here[SET_TRIM] = 0.0
    if here[ON] != 0.0:
        limits_at(p, tables, turning, here)
        here[SET_TRIM] = min(max(here[TRIM], here[BOTTOM]), here[TOP])


def lacking(p, tables, length, begin, end, power, here):
    """Pedal torque that legs at a power lack for being at a speed at the end of a step; what that speed takes in ``here``."""
    speed = (begin + end) / 2
    motor_at(p, tables, speed, here)
    push = p[HEAVY] * (end * end - begin * begin) / (2 * length)
    here[NEEDED] = p[RADIUS] * (push + road_forces(p, speed, here)) + here[DRAG]
    if here[NEEDED] < here[SET_TRIM]:  # the legs hold back
        here[LEVER], here[GAIN] = 1.0 / (p[EFFICIENCY] * p[RATIO]), p[RESISTING_GAIN] * here[ON]
    else:
        here[LEVER], here[GAIN] = p[EFFICIENCY] / p[RATIO], p[DRIVING_GAIN] * here[ON]
    here[PEDAL] = pedal_for(p, here[NEEDED], here)
    return here[PEDAL] - pushing(p, power, here[CADENCE])


def fastest_end(p, tables, length, begin, goal, work_left, here):
    """The speed at the end of a step, at most the goal; below 0 where the legs cannot ride at all.

    Legs ease off at their ordinary power, but give hard power up to the pace
    that is worth it.  What it takes rises with the speed: a secant search in a
    bracket, begun with the slope that inertia and air give.
    """
    power = faded(p, p[LEG_POWER], work_left)
    excess = lacking(p, tables, length, begin, goal, power, here)
    if excess <= 0.0:
        return goal
    upper, lower, known, speed = goal, 0.0, False, goal
    if p[PACE] < goal:
        speed = p[PACE]
        excess = lacking(p, tables, length, begin, speed, power, here)
    if excess <= 0.0:
        lower, known = speed, True
    else:
        power, upper = faded(p, p[HARD_POWER], work_left), speed
        excess = here[PEDAL] - pushing(p, power, here[CADENCE])
        if excess <= 0.0:
            return speed
    before, was = speed, excess
    speed = (lower + upper) / 2
    for count in range(90):
        if not lower < speed < upper or count % 6 == 5:
            if speed <= lower and not known:
                if lacking(p, tables, length, begin, 0.0, power, here) > 0.0:
                    return -1.0
                known = True
            speed = (lower + upper) / 2
        excess = lacking(p, tables, length, begin, speed, power, here)
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


def can_hold(p, tables, speed, work_left, here):
    """Whether the legs can hold a speed as the road is."""
    return lacking(p, tables, 1.0, speed, speed, faded(p, p[HARD_POWER], work_left), here) <= 0.0


def warm_up(p, conductance, speed, time, copper, iron, state, here):
    """Temperatures after a time, by Heun's method in parts short enough for the quickest body."""
    place = speed / p[SPEED_STEP]
    index, last = int(place), len(conductance[0]) - 1
    if index >= last:
        index, place = last - 1, float(last)
    part = place - index
    for k in range(7):
        row = conductance[k]
        here[THROUGH + k] = row[index] + (row[index + 1] - row[index]) * part
    parts = int(time * p[QUICKEST] / 0.7) + 1
    part = time / parts
    for _ in range(parts):
        w, s, m, h = state[WINDING], state[STATOR], state[MAGNETS], state[HOUSING]
        a, b, c, d = heat_rates(p, here, w, s, m, h, copper, iron)
        e, f, g, k = heat_rates(p, here, w + part * a, s + part * b, m + part * c, h + part * d, copper, iron)
        state[WINDING] = w + part * (a + e) / 2
        state[STATOR] = s + part * (b + f) / 2
        state[MAGNETS] = m + part * (c + g) / 2
        state[HOUSING] = h + part * (d + k) / 2


def heat_rates(p, here, winding, stator, magnets, housing, copper, iron):
    """Kelvin per second of the four bodies; magnets without a ring of their own go with the housing."""
    to_stator = here[THROUGH] * (winding - stator)
    to_housing = here[THROUGH + 1] * (stator - housing)
    ends = here[THROUGH + 5] * (winding - housing)
    gap = here[THROUGH + 4] * (stator - magnets)
    shell = here[THROUGH + 3] * (magnets - housing)
    out = here[THROUGH + 2] * (housing - p[AIR])
    axle = here[THROUGH + 6] * (stator - p[AIR])
    of_winding = (copper - to_stator - ends) / p[WINDING_CAPACITY]
    of_stator = (iron + to_stator - to_housing - gap - axle) / p[STATOR_CAPACITY]
    if p[RING_CAPACITY] > 0.0:
        of_ring = (gap - shell) / p[RING_CAPACITY]
        return of_winding, of_stator, of_ring, (p[SUN] + to_housing + ends + shell - out) / p[HOUSING_CAPACITY]
    both = (p[SUN] + to_housing + ends + gap - out) / p[HOUSING_CAPACITY]
    return of_winding, of_stator, both, both


def draw_on(p, time, turning, state, totals, row, here):
    """Currents over the turn for the torques in ``torque``: losses and charge of a time; copper loss as a power."""
    row[AT_POWER] = 0.0
    if here[ON] == 0.0:
        if p[CHARGE] > 0.0:
            relax(p, time, 0.0, 0.0, state)
        return 0.0
    rest, inner = here[REST], here[INNER]
    sag = state[FAST_SAG] + state[SLOW_SAG]
    source = rest - sag
    ohmic, standby = 1.5 * here[RESISTANCE], p[STANDBY]
    square = current = squared = 0.0
    for k in range(9):
        share = here[WEIGHTS + k]
        if share == 0.0:
            continue
        amps = current_at(p, here, here[TORQUE + k])
        bus = ohmic * amps * amps + here[TORQUE + k] * turning + standby
        drawn = 2 * bus / (source + math.sqrt(max(source * source - 4 * inner * bus, 0.0)))
        square += share * amps * amps
        current += share * drawn
        squared += share * drawn * drawn
    bridge = 1.5 * p[BRIDGE_RESISTANCE] * square
    copper = ohmic * square - bridge
    row[AT_POWER] = rest * current
    totals[CELLS] += rest * current * time
    totals[FED_BACK] += max(-rest * current, 0.0) * time
    totals[SUM_PACK] += (inner * squared + sag * current) * time
    totals[SUM_COPPER] += copper * time
    totals[SUM_BRIDGE] += bridge * time
    totals[SUM_STANDBY] += standby * time
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


def go_on(p, tables, length, time, power, state, totals, row, here):
    """Work against the road and the motor's iron over a length; packs, motor, legs at a power, and clock after its time."""
    speed = length / time
    turning = speed / p[RADIUS]
    for k in range(4):
        totals[SUM_ROLLING + k] += here[FORCES + k] * length
    totals[CLIMBED] += max(here[FORCES + 1], 0.0) * length
    totals[SUM_IRON] += here[DRAG] * length / p[RADIUS]
    copper = draw_on(p, time, turning, state, totals, row, here)
    if p[HAS_MOTOR] != 0.0:
        warm_up(p, tables[1], speed, time, copper, here[DRAG] * turning, state, here)
    tire(p, power, time, state)
    totals[MOVING if length > 0.0 else STANDING] += time
    state[TIME] += time


def still(p, tables, state, here):
    """No motor torque anywhere in the turn, and packs as they are now."""
    for k in range(9):
        here[TORQUE + k] = here[WEIGHTS + k] = 0.0
    here[WEIGHTS] = 1.0
    supply_here(p, tables[0], state, here)


def rest_for(p, tables, time, state, totals, row, here):
    """Getting off, if ridden so far, and a time at a standstill: the electronics draw, the motor cools, the legs recover."""
    moved = p[HEAVY] * state[SPEED] * state[SPEED] / 2
    totals[SUM_GETTING_OFF] += moved
    totals[SUM_KINETIC] -= moved
    state[SPEED] = 0.0
    parts = int(time / LONGEST) + 1
    for _ in range(parts):
        still(p, tables, state, here)
        go_on(p, tables, 0.0, time / parts, 0.0, state, totals, row, here)


def walked(p, tables, length, state, totals, row, here):
    """A step on foot, the machine pushed: what was ridden fast is lost on getting off."""
    if state[SPEED] > 0.0:
        rest_for(p, tables, 2 * GETTING_OFF, state, totals, row, here)
    still(p, tables, state, here)
    motor_at(p, tables, p[WALK], here)
    pull = road_forces(p, p[WALK], here)
    totals[ON_FOOT] += (pull + here[DRAG] / p[RADIUS]) * length
    totals[WALKED] += length
    go_on(p, tables, length, length / p[WALK], max(pull * p[WALK], 0.0), state, totals, row, here)
    row[AT_PEDAL] = row[AT_MOTOR] = row[AT_TRIM] = row[AT_RESERVE] = row[AT_BRAKING_RESERVE] = row[AT_CUT_OUT] = row[AT_BRAKE] = 0.0
    row[AT_WAY] = 1.0


def run_away(p, tables, length, begin, sought, brake, here):
    """The speed at the end of a step on which legs, motor and brake do not hold it at the one sought; what they give in ``here``."""
    end, pull = sought, 0.0
    for _ in range(6):
        motor_at(p, tables, (begin + end) / 2, here)
        here[PEDAL] = -p[BACKWARD] * most_torque(p, here[CADENCE])
        wheel = here[LEVER] * here[PEDAL] + turn_nodes(p, here[PEDAL], here)
        pull = (wheel - here[DRAG] - brake) / p[RADIUS]
        before, end = end, coasting(p, length, begin, sought, pull, here)
        if abs(end - before) <= 1e-9 * end:
            break
    # the last speed is that of these forces: what the step changes is its own kinetic energy
    resisting = road_forces(p, (begin + end) / 2, here)
    return math.sqrt(max(begin * begin + 2 * length * (pull - resisting) / p[HEAVY], 0.0))


def coasting(p, length, begin, sought, pull, here):
    """The speed at the end of a step under a force that does not hold it at the one sought: faster, by a bracketed Newton search."""
    slow = speed = sought
    push = pull - road_forces(p, (begin + sought) / 2, here)
    fast = math.sqrt(max(begin * begin + 2 * length * push / p[HEAVY], sought * sought))
    for _ in range(60):
        mean = (begin + speed) / 2
        along = mean + here[WIND]
        over = speed * speed - begin * begin - 2 * length * (pull - road_forces(p, mean, here)) / p[HEAVY]
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


def hold_back(p, here):
    """Legs hold back as hard as they like to, the brake takes the rest, then legs what they can: the brake's torque, whether it fails."""
    pedal = here[PEDAL]
    strength = p[BACKWARD] * most_torque(p, here[CADENCE])
    comfortable = min(pushing(p, p[LEG_POWER], here[CADENCE]), strength)
    if pedal >= -comfortable:
        return 0.0, False
    here[PEDAL] = -comfortable
    brake = here[LEVER] * -comfortable + turn_nodes(p, -comfortable, here) - here[NEEDED]
    if brake <= p[BRAKE]:
        return brake, False
    least = pedal_for(p, here[NEEDED] + p[BRAKE], here)
    here[PEDAL] = max(least, -strength)
    return p[BRAKE], here[PEDAL] > least


def ridden(p, tables, length, end, state, totals, extremes, row, here):
    """A step in the saddle to a speed that was sought, whose needs are in ``here``."""
    begin = state[SPEED]
    brake, over = hold_back(p, here)
    if over:
        totals[OVER] += length
        end = run_away(p, tables, length, begin, end, brake, here)
    else:
        road_forces(p, (begin + end) / 2, here)
    pedal, lever = here[PEDAL], here[LEVER]
    set_trim, bottom, top = here[SET_TRIM], here[BOTTOM], here[TOP]
    mean = turn_nodes(p, pedal, here)
    time, angle = 2 * length / (begin + end), length / p[RADIUS]
    worked = pedal * angle / p[RATIO]
    if worked > 0.0:
        totals[LEGS_GIVE] += worked
        totals[SUM_GEAR] += (1.0 - p[EFFICIENCY]) * worked
        totals[LEGS_AT_WHEEL] += lever * pedal * angle
    else:
        totals[LEGS_TAKE] -= worked
        totals[SUM_GEAR] -= (1.0 - p[EFFICIENCY]) * lever * pedal * angle
    gained = p[HEAVY] * (end * end - begin * begin) / 2
    totals[SUM_KINETIC] += gained
    totals[GAINED] += max(gained, 0.0)
    totals[SUM_BRAKE] += brake * angle
    totals[MOTOR_AT_WHEEL] += max(mean, 0.0) * angle
    asked = here[GAIN] * pedal
    if set_trim != here[TRIM] or abs(asked + set_trim - mean) > 1e-9:
        totals[CUT] += length
    go_on(p, tables, length, time, max(worked / time, 0.0), state, totals, row, here)
    state[SPEED] = end
    row[AT_PEDAL], row[AT_MOTOR], row[AT_TRIM], row[AT_WAY], row[AT_BRAKE] = pedal, mean, set_trim, 0.0, brake
    # what is left of the motor's limits where in the turn it gives most, and least
    least, most = asked * p[FLOOR] + set_trim, asked * (p[FLOOR] + p[SWING]) + set_trim
    between = set_trim if p[FELT] < 1.0 else least
    row[AT_RESERVE] = top - max(min(max(least, most, between), top), bottom)
    row[AT_BRAKING_RESERVE] = min(max(min(least, most, between), bottom), top) - bottom
    # what the legs would have to do without the motor, by the lever of the way in which they then work, less what they do
    wheel = lever * pedal + mean
    row[AT_CUT_OUT] = wheel / (p[EFFICIENCY] / p[RATIO] if wheel > 0.0 else 1.0 / (p[EFFICIENCY] * p[RATIO])) - pedal
    extremes[LEAST_RESERVE] = min(extremes[LEAST_RESERVE], row[AT_RESERVE])
    extremes[MOST_CUT_OUT] = max(extremes[MOST_CUT_OUT], abs(row[AT_CUT_OUT]))


def seek_end(p, tables, length, ceiling, state, here):
    """The speed at the end of a step that legs and motor reach in the saddle, what it takes in ``here``; below 0 for a step on foot."""
    begin, left = state[SPEED], state[WORK_LEFT]
    goal = min(ceiling, math.sqrt(begin * begin + 2 * p[QUICKER] * length))
    if begin == 0.0:
        rested = left if left >= RESTED * p[CAPACITY] else 0.0
        if ceiling == 0.0 or not can_hold(p, tables, min(p[LOWEST], ceiling), rested, here):
            return -1.0
    end = fastest_end(p, tables, length, begin, goal, left, here)
    if end < 0.0 or begin + end <= 0.0:
        return -1.0
    if end < min(p[LOWEST], goal) and begin > 0.0:
        if not can_hold(p, tables, p[LOWEST], left, here):
            return -1.0
        lacking(p, tables, length, begin, end, 0.0, here)
    return end


def march(p, route, ceiling, tables, state, totals, extremes, kept, here, first, last):
    """Ride the steps from ``first`` up to ``last``, that one not counted.

    Args:
        p: the ride's row of numbers.
        route: columns of the route, one entry a step.
        ceiling: speeds at the points that the rider does not pass.
        tables: what is looked up:
            states of charge, and at them voltage at rest, ohmic and delayed resistance, greatest and lowest power of the packs together;
            seven conductances over speed, in the order of ``heat_rates``;
            greatest motor torque that current and voltage allow, see ``blended``, and lowest; voltages of the packs at rest of these.
        state: where the ride is; changed.
        totals: sums over the ride; changed.
        extremes: what was narrowest; changed.
        kept: a row for each step, or one row that is used again and again.
        here: scratch of a step.
        first, last: steps.
    """
    for i in range(first, last):
        row = kept[i] if len(kept) > 1 else kept[0]
        length, before = route[LENGTH][i], state[CHARGE_LEFT]
        step_here(p, route, i, tables, state, here)
        end = seek_end(p, tables, length, ceiling[i + 1], state, here)
        if end < 0.0:
            walked(p, tables, length, state, totals, row, here)
        else:
            ridden(p, tables, length, end, state, totals, extremes, row, here)
        if state[MET] == state[GONE]:  # the charge held back has not been met so far
            after = state[CHARGE_LEFT]
            share = 1.0
            if after <= p[HELD_BACK]:
                share = max(before - p[HELD_BACK], 0.0) / (before - after) if before > after else 0.0
            state[MET] += length * share
        state[GONE] += length
        if route[STOP][i] > 0.0:
            power = row[AT_POWER]
            rest_for(p, tables, route[STOP][i] + 2 * GETTING_OFF, state, totals, row, here)
            row[AT_POWER] = power
        row[AT_SPEED], row[AT_TIME], row[AT_CHARGE] = state[SPEED], state[TIME], state[CHARGE_LEFT]
        row[AT_WINDING], row[AT_MAGNETS], row[AT_WORK_LEFT] = state[WINDING], state[MAGNETS], state[WORK_LEFT]
        extremes[HOTTEST_WINDING] = max(extremes[HOTTEST_WINDING], state[WINDING])
        extremes[HOTTEST_MAGNETS] = max(extremes[HOTTEST_MAGNETS], state[MAGNETS])
        extremes[LEAST_WORK] = min(extremes[LEAST_WORK], state[WORK_LEFT])


def pick(rows, r):
    """The row of a ride; what has one row serves all of them."""
    return rows[min(r, len(rows) - 1)]


def march_many(p, route, ceiling, pack, conductance, high, low, points, state, totals, extremes, kept, here):
    """Whole rides one after the other."""
    for r in range(len(p)):
        tables = (pick(pack, r), pick(conductance, r), pick(high, r), pick(low, r), points)
        march(p[r], route, pick(ceiling, r), tables, state[r], totals[r], extremes[r], kept, here, 0, len(route[0]))


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
