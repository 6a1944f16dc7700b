"""Panels in a browser: moved by the keyboard, and never wider than a phone."""

import re

import browsing
import pytest
from browsing import MILLISECONDS, too_wide

from unikit.lab import panels

pytestmark = pytest.mark.browser

WIDE, PHONE = (1280, 1500), (400, 3200)  # tall enough for a whole panel on one screenshot


def opened(chromium, served, root, topic, size):
    """The page with the panel shown, after all cells ran."""
    from playwright.sync_api import expect

    code = (
        "from unikit.inputs import load_build, load_case\n"
        "from unikit.lab import panels\n"
        f"panels.{topic}(load_build({str(root / 'data/builds/harbour_commuter.toml')!r}),"
        f" load_case({str(root / 'data/cases/harbour_hill.toml')!r}))"
    )
    page = browsing.opened(chromium, served, topic, [code], size)
    panel = page.locator(".unikit-panel")
    expect(panel).to_be_visible(timeout=MILLISECONDS)
    expect(panel.locator("img")).to_be_visible(timeout=MILLISECONDS)
    return page, panel


def computed(panel):
    """What takes longer follows by itself."""
    from playwright.sync_api import expect

    expect(panel.get_by_text("still being computed")).to_have_count(0, timeout=MILLISECONDS)


def number(text):
    return float(re.search(r"[-−]?\d+(\.\d+)?", text)[0].replace("−", "-"))


def test_a_slider_moved_by_the_keyboard_changes_number_and_picture(chromium, served, root, reports):
    from playwright.sync_api import expect

    page, panel = opened(chromium, served, root, "gearing", WIDE)
    try:
        cell = panel.locator('td[data-key="greatest speed"]')
        expect(cell).to_have_text(re.compile("km/h"))
        before, picture = cell.inner_text(), panel.locator("img").get_attribute("src")
        panel.locator(".noUi-handle").first.focus()
        page.keyboard.press("Home")
        expect(cell).not_to_have_text(before, timeout=MILLISECONDS)
        expect(panel.locator("img")).not_to_have_attribute("src", picture)
        slowest = number(cell.inner_text())
        assert slowest < number(before)
        panel.get_by_label("Gear ratio").fill("2")
        page.keyboard.press("Enter")
        expect(cell).not_to_have_text(f"{slowest:.1f} km/h", timeout=MILLISECONDS)
        page.screenshot(path=str(reports / "gearing-moved.png"))
        panel.get_by_role("button", name="Reset").click()
        expect(cell).to_have_text(before, timeout=MILLISECONDS)
    finally:
        page.close()


@pytest.mark.parametrize("topic", panels.ASKED)
def test_every_panel_fits_a_laptop_and_a_phone(chromium, served, root, reports, topic):
    from playwright.sync_api import expect

    page, panel = opened(chromium, served, root, topic, WIDE)
    try:
        computed(panel)
        assert too_wide(panel) == []
        panel.screenshot(path=str(reports / f"{topic}-1280.png"))
        page.set_viewport_size({"width": PHONE[0], "height": PHONE[1]})
        picture = panel.locator("img").get_attribute("src")
        panel.get_by_role("button", name="Narrow picture").click()
        expect(panel.locator("img")).not_to_have_attribute("src", picture, timeout=MILLISECONDS)
        expect(panel.locator("img")).to_be_visible()
        computed(panel)
        page.wait_for_function("document.querySelector('.unikit-panel img').complete")
        assert too_wide(panel) == []
        panel.screenshot(path=str(reports / f"{topic}-400.png"))
    finally:
        page.close()
