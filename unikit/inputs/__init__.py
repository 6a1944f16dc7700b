"""What people bring: frozen, checked records of SI numbers, read from files with units."""

from . import chain_rules as chain_rules
from . import consistency as consistency
from .assist_parts import Assist, Chain, TorqueSensor
from .bench import Bench, load_bench
from .build import Build, Case
from .datasheet import Datasheet, NoLoad, Rated, Stall, load_datasheet
from .drive_parts import Controller, Motor
from .errors import InputError, Problem
from .fields import Spec
from .hub_parts import Gear, Gears, Hub
from .logs import Log, load_log, make_log
from .parts import Brake, Cranks, Frame, Rider, Wheel
from .reading import load_build, load_case, load_cases
from .ride_logs import RideLog, RideStream, load_ride, make_ride
from .route import Route, make_route
from .route_files import load_route, read_route, save_route
from .schema import describe, fields, meaning, schema
from .spreads import Spread
from .supply_parts import Pack, Packs, Wiring
from .variants import draw, draw_at, replace
from .ways import there_and_back, way_back
from .writing import save_build, save_case

__all__ = [
    "Assist",
    "Bench",
    "Brake",
    "Build",
    "Case",
    "Chain",
    "Controller",
    "Cranks",
    "Datasheet",
    "Frame",
    "Gear",
    "Gears",
    "Hub",
    "InputError",
    "Log",
    "Motor",
    "NoLoad",
    "Pack",
    "Packs",
    "Problem",
    "Rated",
    "RideLog",
    "RideStream",
    "Rider",
    "Route",
    "Spec",
    "Spread",
    "Stall",
    "TorqueSensor",
    "Wheel",
    "Wiring",
    "describe",
    "draw",
    "draw_at",
    "fields",
    "load_bench",
    "load_build",
    "load_case",
    "load_cases",
    "load_datasheet",
    "load_log",
    "load_ride",
    "load_route",
    "make_log",
    "make_ride",
    "make_route",
    "meaning",
    "read_route",
    "replace",
    "save_build",
    "save_case",
    "save_route",
    "schema",
    "there_and_back",
    "way_back",
]
