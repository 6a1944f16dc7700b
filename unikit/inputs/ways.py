"""A route ridden the other way, and there and back."""

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
