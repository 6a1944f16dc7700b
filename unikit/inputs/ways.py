"""Routes made of a route or of a few numbers: back, there and back, in fewer steps, and of one slope."""

from __future__ import annotations

import numpy as np

from .. import units as u
from .route import Route, make_route

TURN = 60.0  # s at the far end to get off, turn round and get on again; common practice, no source


def way_back(route: Route) -> Route:
    """The same road from its end to its start: climbs become descents, and the wind comes from the other side.

    A stop at the end becomes one at the start, where nobody waits for it, and the other way round.
    """
    places = {} if route.latitude is None else {"latitude": route.latitude[::-1], "longitude": route.longitude[::-1]}
    return make_route(
        f"{route.name}, back",
        route.source,
        route.length - route.distance[::-1],
        route.altitude[::-1],
        route.notes,
        heading=np.mod(route.heading[::-1] + np.pi, 2 * np.pi),
        surface=route.surface[::-1],
        shelter=route.shelter[::-1],
        speed_limit=route.speed_limit[::-1],
        stop=route.stop[::-1],
        **places,
    )


def there_and_back(route: Route, stay: u.Second = TURN) -> Route:
    """A route to its end, a stay there, and the same road home."""
    if not 0 <= stay < np.inf:
        raise ValueError(f"stay must be a time of 0 s or more, got {stay}")
    back = way_back(route)
    stop = np.concatenate([route.stop, back.stop[1:]])
    stop[len(route.stop) - 1] = max(stay, route.stop[-1])
    places = {}
    if route.latitude is not None:
        places = {name: np.concatenate([getattr(route, name), getattr(back, name)[1:]]) for name in ("latitude", "longitude")}
    return make_route(
        f"{route.name}, there and back",
        route.source,
        np.concatenate([route.distance, route.length + back.distance[1:]]),
        np.concatenate([route.altitude, back.altitude[1:]]),
        route.notes,
        speed_limit=np.concatenate([route.speed_limit, back.speed_limit[1:]]),
        stop=stop,
        **{name: np.concatenate([getattr(route, name), getattr(back, name)]) for name in ("heading", "surface", "shelter")},
        **places,
    )


def steady_way(name: str, length: u.Metre, slope: u.Slope, step: u.Metre = 10.0) -> Route:
    """A road due north of one slope from end to end."""
    if not 0 < length < np.inf:
        raise ValueError(f"length must be above 0 m, got {length}")
    distance = np.linspace(0.0, length, max(2, int(np.ceil(length / step))) + 1)
    return make_route(name, "one slope from end to end", distance, distance * slope / np.hypot(1.0, slope), heading=0.0)


def thinned(route: Route, most: int) -> Route:
    """The same road in fewer steps, about ``most`` of them: for a look that must be quick.

    Points with a stop stay. Steps laid together take the mean of surface,
    shelter and heading over their length; a speed limit holds on all steps that
    touch it. Climbs shorter than a step are lost.
    """
    count = len(route.step)
    if most < 1:
        raise ValueError(f"most must be at least 1, got {most}")
    if count <= most:
        return route
    every = np.linspace(0, count, most + 1).round().astype(int)
    kept = np.union1d(every, np.flatnonzero(route.stop > 0))
    first, length = kept[:-1], np.diff(route.distance[kept])
    mean = lambda values: np.add.reduceat(values * route.step, first) / length
    north, east = mean(np.cos(route.heading)), mean(np.sin(route.heading))
    within = np.minimum.reduceat(np.minimum(route.speed_limit[:-1], route.speed_limit[1:]), first)
    limit = np.minimum(np.append(within, np.inf), np.append(np.inf, within))
    places = {} if route.latitude is None else {"latitude": route.latitude[kept], "longitude": route.longitude[kept]}
    return make_route(
        route.name,
        route.source,
        route.distance[kept],
        route.altitude[kept],
        (*route.notes, f"thinned from {count:,} to {len(length):,} steps"),
        heading=np.mod(np.arctan2(east, north), 2 * np.pi),
        surface=mean(route.surface),
        shelter=mean(route.shelter),
        speed_limit=limit,
        stop=route.stop[kept],
        **places,
    )
