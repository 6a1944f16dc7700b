"""Pure functions of SI numbers, each with its equation, sign convention, source and range."""

from . import air, carriage, convection, delay, dq, drive, duty, epicyclic, gearing, heat, leverage, magnetics, motor, pack, pedalling, road
from .registry import FORMULAS, Formula, OutsideRangeWarning, bibliography

__all__ = [
    "FORMULAS",
    "Formula",
    "OutsideRangeWarning",
    "air",
    "bibliography",
    "carriage",
    "convection",
    "delay",
    "dq",
    "drive",
    "duty",
    "epicyclic",
    "gearing",
    "heat",
    "leverage",
    "magnetics",
    "motor",
    "pack",
    "pedalling",
    "road",
]
