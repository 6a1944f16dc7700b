"""Many computed rides, read and fitted side by side, with the truth beside them."""

from functools import cache

import numpy as np

from unikit.formulas import fitting, road_fit
from unikit.inputs import load_build, load_case, replace
from unikit.studies import ride_balance, ride_log, ride_logged

BUILD, CASE = "data/builds/harbour_commuter.toml", "data/cases/flat_cruise.toml"
STRONGEST = 3.0  # m/s
AT_ONCE = 100


@cache
def parts():
    """The build as believed, as ridden, and the case."""
    build = load_build(BUILD)
    return build, ride_logged.hidden(build), load_case(CASE)


def fitted(rides, seed, scenario=None, trim="none"):
    """Fits of rides in winds of their own, and the true parameters, as (ride, parameter)."""
    build, true, case = parts()
    case = replace(case, {"trim": trim})
    scenario = scenario or ride_logged.Scenario()
    stream = np.random.default_rng(seed)
    strength, way = STRONGEST * np.sqrt(stream.random(rides)), 2 * np.pi * stream.random(rides)
    wind = (strength * np.cos(way), strength * np.sin(way))
    logged = ride_logged.ride(true, case, scenario, seed + 1, rides, wind)
    fits = []
    for begin in range(0, rides, AT_ONCE):
        every = [ride_balance.account_of(build, case, logged.log(number)) for number in range(begin, min(begin + AT_ONCE, rides))]
        zeros, deviations = (np.array([getattr(one, name) for one in every]) for name in ("torque_zero", "torque_zero_deviation"))
        sensors = road_fit.Sensors(zeros, deviations, scenario.torque_scale_deviation, scenario.electrical_scale_deviation)
        account = ride_balance.stacked([one.account for one in every])
        fits.append(road_fit.fit(account, ride_log.machine_of(build, case), sensors, ride_log.begin_of(build)))
    of = {name: np.concatenate([getattr(fit, name) for fit in fits])[:, :5] for name in ("value", "error", "freedom")}
    known = (true.wheel.rolling_coefficient, true.rider.drag_area, true.gears.named().efficiency)
    truth = np.column_stack([np.broadcast_to(known, (rides, 3)), *wind])
    ends = fitting.confidence_interval(of["value"], of["error"], 0.95, of["freedom"])
    return of, truth, (ends.low <= truth) & (truth <= ends.high), np.concatenate([fit.settled for fit in fits])
