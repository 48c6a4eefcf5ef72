"""Pictures of every page of every role, by day and by night, at three widths: to be looked at, not kept.

``MAKERLAB_SHOTS=folder pytest tests/browser/test_shots.py`` takes them; with ``MAKERLAB_SHOTS_LANGUAGE=es`` in Spanish.
On the way each page is held to what a picture would show: it does not scroll sideways, it is light by day and dark by
night, and the browser complains of nothing.
"""

from __future__ import annotations

import os
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser

from tests.browser.conftest import Demo, addresses_of, open_desk

FOLDER = os.environ.get("MAKERLAB_SHOTS", "")
LANGUAGE = os.environ.get("MAKERLAB_SHOTS_LANGUAGE", "en")
pytestmark = [
    pytest.mark.browser,
    pytest.mark.slow,
    pytest.mark.skipif(not FOLDER, reason="more than a thousand pictures: MAKERLAB_SHOTS=folder takes them"),
]
ROLES = ("nobody", "student", "teacher", "technician", "administrator")
WIDTHS = (360, 1024, 1440)
TALLEST = 6000  # px of a picture
SMALLEST = 5_000  # bytes: an empty page of these sizes takes less
SETTLE_MS = 150  # what appears as it comes near the window has asked for itself by then
GROUND = """() => {
  const canvas = document.createElement("canvas").getContext("2d");
  canvas.fillStyle = getComputedStyle(document.body).backgroundColor;
  canvas.fillRect(0, 0, 1, 1);
  return Math.max(...canvas.getImageData(0, 0, 1, 1).data.slice(0, 3));
}"""


@pytest.mark.parametrize("dark", [False, True], ids=["day", "night"])
@pytest.mark.parametrize("width", WIDTHS)
@pytest.mark.parametrize("role", ROLES)
def test_every_page_is_photographed(
    demo: Demo, browser: Browser, pages: list[dict[str, Any]], role: str, width: int, dark: bool
):
    desk = open_desk(browser, demo, role, width=width, dark=dark, language=LANGUAGE)
    folder = Path(FOLDER) / role / f"{width}-{'night' if dark else 'day'}"
    folder.mkdir(parents=True, exist_ok=True)
    wrong: dict[str, str] = {}
    for name, path in addresses_of(pages, role).items():
        answer = desk.page.goto(path)
        if answer is None or answer.status == 404:
            continue  # gone since the walk
        desk.page.wait_for_timeout(SETTLE_MS)
        wide = desk.page.evaluate("document.documentElement.scrollWidth")
        if wide > width:
            wrong[path] = f"{wide} px wide"
        if (desk.page.evaluate(GROUND) < 128) is not dark:
            wrong[path] = "is not " + ("dark" if dark else "light")
        tall = min(TALLEST, desk.page.evaluate("document.documentElement.scrollHeight"))
        picture = folder / f"{name.replace(':', '-')}.png"
        desk.page.screenshot(path=picture, full_page=True, clip={"x": 0, "y": 0, "width": width, "height": tall})
        if picture.stat().st_size < SMALLEST:
            wrong[path] = "shows nothing"
    assert wrong == {}
    assert [said for said in desk.complaints if "404" not in said] == []
    desk.page.context.close()
