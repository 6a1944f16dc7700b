"""What a result leaves for later: computed when the reader pauses, marked until then, given up at the next change."""

import asyncio
from dataclasses import dataclass, replace

import pytest
from lab import demo

from unikit.lab import panel as panels
from unikit.lab.panel import Panel

calls = []


@dataclass(frozen=True)
class Slow(demo.Swing):
    """A swing whose height is known only when its later part was computed."""

    later: object = None

    def summary(self):
        return super().summary() | {"Later part": "missing" if self.later else "here"}


def study(fails=False, **values):
    quick = Slow(**vars(demo.study(**values)))

    def later():
        calls.append(values["rate"])
        if fails:
            raise ValueError("the later part cannot be computed at these values")
        return replace(quick, later=None)

    return replace(quick, later=later)


@pytest.fixture
def panel():
    calls.clear()
    return Panel(study, demo.picture(), demo.CONTROLS, demo.START)


def test_without_a_running_page_the_rest_waits_until_it_is_asked_for(panel):
    assert panel.unfinished and calls == []
    assert "missing" in panel.numbers.value and "still being computed" in panel.alert.value
    panel.finish()
    assert not panel.unfinished and len(calls) == 1
    assert "missing" not in panel.numbers.value and panel.alert.value == ""
    panel.finish()
    assert len(calls) == 1


def test_a_pause_brings_the_rest_and_a_drag_asks_for_it_once(panel, monkeypatch):
    monkeypatch.setattr(panels, "PAUSE", 0.01)

    async def drag():
        for rate in (2.0, 3.0, 4.0):
            panel.set(rate=rate)
            assert panel.unfinished
        await asyncio.sleep(0.1)

    asyncio.run(drag())
    assert calls == [pytest.approx(4.0)]
    assert not panel.unfinished and panel.values()["rate"] == pytest.approx(4.0)


def test_a_later_part_that_fails_is_told_in_a_sentence(panel):
    panel.study = lambda **values: study(fails=True, **values)
    panel.redraw()
    panel.finish()
    assert "The later part cannot be computed at these values" in panel.alert.value
    assert isinstance(panel.error, ValueError) and not panel.unfinished
