"""A ride along a route in a browser: the panel follows the choice above it, also to a file that a reader adds."""

import browsing
import pytest
from browsing import MILLISECONDS, too_wide

pytestmark = pytest.mark.browser

SIZES = {"wide": (1280, 1900), "phone": (400, 3600)}


@pytest.mark.parametrize("size", SIZES)
def test_a_file_that_is_added_is_ridden(chromium, served, root, reports, tmp_path, size):
    from playwright.sync_api import expect

    data = root / "data"
    cells = [
        f"from unikit.lab import upload\nchosen = upload.pick({str(data / 'routes')!r})\nchosen",
        "from unikit.inputs import load_build, load_case\nfrom unikit.lab import panels\n"
        f"panels.journey(load_build({str(data / 'builds/harbour_commuter.toml')!r}),"
        f" load_case({str(data / 'cases/harbour_hill.toml')!r}), chosen)",
    ]
    page = browsing.opened(chromium, served, f"journey_{size}", cells, SIZES[size])
    try:
        choice, panel = page.locator(".unikit-panel").first, page.locator(".unikit-panel").last
        expect(panel.locator("img")).to_be_visible(timeout=MILLISECONDS)
        name = panel.locator('td[data-key="route"]')
        expect(name).to_have_text("Harbour round")
        choice.locator("select").select_option("Over the hill")
        expect(name).to_have_text("Over the hill", timeout=MILLISECONDS)
        expect(panel.get_by_text("still being computed")).to_have_count(0, timeout=MILLISECONDS)
        expect(panel.locator('td[data-key="rides drawn"]')).to_have_text("256")
        if size == "phone":
            picture = panel.locator("img").get_attribute("src")
            panel.get_by_role("button", name="Narrow picture").click()
            expect(panel.locator("img")).not_to_have_attribute("src", picture, timeout=MILLISECONDS)
            expect(panel.get_by_text("still being computed")).to_have_count(0, timeout=MILLISECONDS)
        panel.screenshot(path=str(reports / f"journey_route_{size}.png"))
        assert too_wide(panel) == []
        mine = (data / "routes/harbour_round.toml").read_text(encoding="utf-8").replace('"Harbour round"', '"My own way"')
        (tmp_path / "mine.toml").write_text(mine, encoding="utf-8")
        with page.expect_file_chooser() as asked:
            choice.get_by_role("button", name="Add a file").click()
        asked.value.set_files(tmp_path / "mine.toml")
        expect(name).to_have_text("My own way", timeout=MILLISECONDS)
        expect(panel.locator("select").first).to_have_value("My own way")
    finally:
        page.close()
