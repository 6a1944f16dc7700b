"""Cheap checks of arguments, with one way to say what is wrong."""

from __future__ import annotations

import warnings
from typing import Any

import numpy as np

from .registry import OutsideRangeWarning


def _refuse(name: str, value: Any, allowed: str) -> None:
    raise ValueError(f"{name} must be {allowed}, got {np.array2string(np.asarray(value), threshold=6)}")


def positive(name: str, value: Any) -> None:
    """Refuse what is not above zero (NaN too)."""
    if not (value > 0 if value.__class__ is float else np.all(np.asarray(value) > 0)):
        _refuse(name, value, "above 0")


def not_negative(name: str, value: Any) -> None:
    """Refuse what is below zero (NaN too)."""
    if not (value >= 0 if value.__class__ is float else np.all(np.asarray(value) >= 0)):
        _refuse(name, value, "0 or above")


def within(name: str, value: Any, low: float, high: float) -> None:
    """Refuse what is outside the closed interval (NaN too)."""
    if value.__class__ is float:
        if low <= value <= high:
            return
    else:
        array = np.asarray(value)
        if np.all((array >= low) & (array <= high)):
            return
    _refuse(name, value, f"from {low:g} to {high:g}")


def one_of(name: str, value: Any, allowed: tuple[str, ...]) -> None:
    """Refuse a word that is not in the list."""
    if value not in allowed:
        raise ValueError(f"{name} must be one of {', '.join(map(repr, allowed))}, got {value!r}")


def warn_outside(name: str, value: Any, low: float, high: float, source: str) -> None:
    """Warn when a correlation is used outside the range that its source gives."""
    if value.__class__ is float and low <= value <= high:
        return
    array = np.asarray(value)
    if not np.all((array >= low) & (array <= high)):
        warnings.warn(
            f"{name} {np.array2string(array, threshold=6)} is outside {low:g} to {high:g}, the range of {source}",
            OutsideRangeWarning,
            stacklevel=3,
        )
