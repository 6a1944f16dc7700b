"""What people bring: frozen, checked records of SI numbers, read from files with units."""

from . import consistency as consistency
from .build import Build, Case
from .errors import InputError, Problem
from .parts import Assist, Brake, Controller, Cranks, Frame, Gear, Gears, Motor, Pack, Packs, Rider, TorqueSensor, Wheel
from .reading import load_build, load_case, load_cases
from .spreads import Spread

__all__ = [
    "Assist",
    "Brake",
    "Build",
    "Case",
    "Controller",
    "Cranks",
    "Frame",
    "Gear",
    "Gears",
    "InputError",
    "Motor",
    "Pack",
    "Packs",
    "Problem",
    "Rider",
    "Spread",
    "TorqueSensor",
    "Wheel",
    "load_build",
    "load_case",
    "load_cases",
]
