"""What people bring: frozen, checked records of SI numbers, read from files with units."""

from . import consistency as consistency
from .bench import Bench, load_bench
from .build import Build, Case
from .errors import InputError, Problem
from .fields import Spec
from .logs import Log, load_log, make_log
from .parts import Assist, Brake, Controller, Cranks, Frame, Gear, Gears, Motor, Pack, Packs, Rider, TorqueSensor, Wheel
from .reading import load_build, load_case, load_cases
from .schema import describe, fields, schema
from .spreads import Spread
from .variants import draw, replace
from .writing import save_build, save_case

__all__ = [
    "Assist",
    "Bench",
    "Brake",
    "Build",
    "Case",
    "Controller",
    "Cranks",
    "Frame",
    "Gear",
    "Gears",
    "InputError",
    "Log",
    "Motor",
    "Pack",
    "Packs",
    "Problem",
    "Rider",
    "Spec",
    "Spread",
    "TorqueSensor",
    "Wheel",
    "describe",
    "draw",
    "fields",
    "load_bench",
    "load_build",
    "load_case",
    "load_cases",
    "load_log",
    "make_log",
    "replace",
    "save_build",
    "save_case",
    "schema",
]
