"""What a reader can set on a panel: numbers within a range, and choices among words."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import ipywidgets as W

from .. import units


@dataclass(frozen=True)
class Control:
    """One number that a panel can change.

    ``low``, ``high`` and ``step`` are in ``unit``, which the reader sees; what
    goes to the study is SI, as everywhere else.
    """

    name: str
    label: str
    unit: str
    low: float
    high: float
    step: float
    kind: str

    def __post_init__(self) -> None:
        if not (self.low < self.high and self.step > 0):
            raise ValueError(f"control {self.name}: needs low < high and step > 0, got {self.low:g}, {self.high:g}, {self.step:g}")
        units.convert(1.0, self.kind, self.unit)  # a unit of another kind is refused here, not at the first drag

    @property
    def caption(self) -> str:
        """Label and unit, as in ``Cadence / rpm`` or ``Torque / N·m``."""
        printed = self.unit.replace("*", "·").replace("ohm", "Ω").replace("^2", "²").replace("^3", "³")
        return f"{self.label} / {printed}" if printed else self.label

    @property
    def span(self) -> str:
        """The range in words."""
        return f"{self.low:g} to {self.high:g}".replace("-", "−")

    def shown(self, value: float) -> float:
        """An SI number in the reader's unit, to the seven digits that a box can show."""
        return float(f"{float(units.convert(value, self.kind, units.KINDS[self.kind].base, self.unit)):.7g}")

    def si(self, shown: float) -> float:
        """A number in the reader's unit as SI."""
        return float(units.convert(shown, self.kind, self.unit))

    def read(self, value: float | str) -> float:
        """An SI number, or a text with unit, in the reader's unit; refused outside the range."""
        shown = self.shown(units.parse(value, self.kind) if isinstance(value, str) else value)
        if not self.low <= shown <= self.high:
            raise ValueError(f"{self.label} must be from {self.span}{self.unit and ' ' + self.unit}, got {shown:g}")
        return shown

    def including(self, value: float | str) -> Control:
        """The same control, its range widened by whole steps where an unusual build starts outside of it."""
        shown = self.shown(units.parse(value, self.kind) if isinstance(value, str) else value)
        if not math.isfinite(shown):
            raise ValueError(f"{self.label} must start at a finite number, got {shown}")
        below = max(0, math.ceil((self.low - shown) / self.step))
        above = max(0, math.ceil((shown - self.high) / self.step))
        return replace(self, low=float(f"{self.low - below * self.step:.10g}"), high=float(f"{self.high + above * self.step:.10g}"))


@dataclass(frozen=True)
class Choice:
    """One of several words; ``options`` may map what the reader sees to what the study gets."""

    name: str
    label: str
    options: Sequence[str] | Mapping[str, Any] = field(default_factory=tuple)

    def __post_init__(self) -> None:
        if not self.options:
            raise ValueError(f"choice {self.name}: needs at least one option")

    @property
    def caption(self) -> str:
        """The label."""
        return self.label

    @property
    def values(self) -> list[Any]:
        """What the study can get."""
        return list(self.options.values()) if isinstance(self.options, Mapping) else list(self.options)

    def read(self, value: Any) -> Any:
        """The value, or that of the word which the reader sees; refused where it is none of the options."""
        if value in self.values:
            return value
        if isinstance(self.options, Mapping) and isinstance(value, str) and value in self.options:
            return self.options[value]
        words = [shown if isinstance(shown, str) else word for word, shown in zip(self.options, self.values, strict=True)]
        raise ValueError(f"{self.label} must be one of {', '.join(map(repr, words))}, got {value!r}")


class Row:
    """The widgets of one control: a labelled box, and for a number a slider and the range."""

    def __init__(self, control: Control | Choice, start: Any, width: str, changed: Callable[[], None]) -> None:
        style = {"description_width": width}
        self.control, self.slider = control, None
        fits = f"calc({width} + {{}})"
        if isinstance(control, Choice):
            self.control = control
            self.box = W.Dropdown(
                options=list(control.options.items()) if isinstance(control.options, Mapping) else list(control.options),
                value=control.read(start),
                description=control.caption,
                tooltip=f"{control.caption}: choose one",
                style=style,
                layout=W.Layout(flex="0 1 auto", width=fits.format("13em"), min_width="0"),
            )
            parts = [self.box]
        else:
            self.control = control = control.including(start)
            shared = {"min": control.low, "max": control.high, "step": control.step, "value": control.read(start)}
            hint = f"{control.caption}, {control.span}"
            self.box = W.BoundedFloatText(description=control.caption, tooltip=hint, style=style, **shared)
            self.box.layout = W.Layout(flex="0 1 auto", width=fits.format("7em"), min_width="0")
            # Its own name is not tied to a slider's handle in the page, so the box carries the label.
            self.slider = W.FloatSlider(
                readout=False, tooltip=hint, layout=W.Layout(flex="1 1 9em", width="auto", min_width="6em", max_width="22em"), **shared
            )
            self.slider.observe(self._follow_slider, "value")
            span = W.HTML(
                f"<small>{control.span}</small>", tooltip="range", layout=W.Layout(flex="0 0 auto", width="6em", margin="2px 4px")
            )
            parts = [self.box, span, self.slider]
        self._changed = changed
        self.box.observe(self._box_changed, "value")
        self.widget = W.HBox(parts, layout=W.Layout(flex_flow="row wrap", align_items="center", min_width="0", overflow="visible"))

    @property
    def value(self) -> Any:
        """What the study gets: SI, or the chosen word."""
        return self.control.si(self.box.value) if isinstance(self.control, Control) else self.box.value

    def offer(self, choice: Choice, chosen: Any) -> None:
        """Other words for the same choice, and which of them is chosen."""
        chosen, self.control = choice.read(chosen), choice
        self.box.unobserve(self._box_changed, "value")  # the list is changed in two steps, of which only the outcome counts
        self.box.options = list(choice.options.items()) if isinstance(choice.options, Mapping) else list(choice.options)
        self.box.value = chosen
        self.box.observe(self._box_changed, "value")
        self._changed()

    def _follow_slider(self, _change: Any) -> None:
        # The page rounds a slider to its step. Without this a typed 2.13 would come back as 2.15.
        if abs(self.slider.value - self.box.value) > self.control.step / 2 * (1 + 1e-9):
            self.box.value = self.slider.value

    def _box_changed(self, _change: Any) -> None:
        if self.slider is not None:
            self.slider.value = self.box.value
        self._changed()
