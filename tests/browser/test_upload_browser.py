"""A route is chosen and added in a browser: the panel follows, a bad file is told, and nothing is wider than a phone."""

import browsing
import pytest
from browsing import MILLISECONDS, too_wide

pytestmark = pytest.mark.browser

SIZES = {"wide": (1280, 1500), "phone": (400, 3000)}


def send(page, choice, path):
    """Choose a file as a reader does."""
    with page.expect_file_chooser() as asked:
        choice.get_by_role("button", name="Add a file").click()
    asked.value.set_files(path)


@pytest.mark.parametrize("size", SIZES)
def test_choose_upload_and_be_refused(chromium, served, root, reports, tmp_path, size):
    from playwright.sync_api import expect

    cells = [
        f"from unikit.lab import upload\nchosen = upload.pick({str(root / 'data/routes')!r})\nchosen",
        "upload.panel(chosen)",
    ]
    page = browsing.opened(chromium, served, f"upload_{size}", cells, SIZES[size])
    try:
        choice, panel = page.locator(".unikit-panel").first, page.locator(".unikit-panel").last
        expect(panel.locator("img")).to_be_visible(timeout=MILLISECONDS)
        name = panel.locator('td[data-key="route"]')
        expect(name).to_have_text("Harbour round")
        choice.locator("select").select_option("Over the hill")
        expect(name).to_have_text("Over the hill")
        expect(choice).to_contain_text("drift of +8.4 m")
        page.screenshot(path=reports / f"upload_{size}.png")
        assert too_wide(choice) == [] and too_wide(panel) == []
        (tmp_path / "bad.gpx").write_text("not XML")
        send(page, choice, tmp_path / "bad.gpx")
        expect(choice.locator("[role=alert]")).to_contain_text("Not read: bad.gpx: expected a file in GPX 1.1", timeout=MILLISECONDS)
        expect(name).to_have_text("Over the hill")
        page.screenshot(path=reports / f"upload_refused_{size}.png")
        send(page, choice, root / "data/routes/over_the_hill.gpx")
        expect(name).to_have_text("Over the hill (2)", timeout=MILLISECONDS)
        expect(choice.locator("[role=alert]")).to_have_count(0)
    finally:
        page.close()
