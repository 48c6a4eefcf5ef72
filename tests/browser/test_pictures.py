"""The main screens, looked at by machine at five widths, and photographed for README.md.

``MAKERLAB_WRITE_PICTURES=1 pytest tests/browser/test_pictures.py`` takes the pictures anew. Every other run compares
the words of each screen with those noted when its picture was taken, so that a picture cannot quietly grow untrue.
"""

from __future__ import annotations

import json
import os
import re
from pathlib import Path

import pytest
from PIL import Image
from playwright.sync_api import Browser, Page

from tests.browser.conftest import ROOT, Demo, open_desk

pytestmark = [pytest.mark.browser, pytest.mark.slow]
FOLDER = ROOT / "docs" / "screens"
NOTED = FOLDER / "screens.json"
WRITE = os.environ.get("MAKERLAB_WRITE_PICTURES") == "1"
WIDTHS = (320, 360, 640, 1024, 1440)  # 320 and 640: a window of 1280 px at 400 and 200 % (WCAG 2.2, 1.4.10 and 1.4.4)
SETTLE_MS = 300  # what appears as it comes near the window has asked for itself by then
TALLEST = 1800  # px of a picture; what lies below is more of the same
SCREENS = {
    "my-parts": ("student", "/parts/"),
    "part-report": ("student", "/submissions/1/"),
    "today": ("teacher", "/today/"),
    "review": ("teacher", "/review/"),
    "queue": ("teacher", "/queue/"),
    "room-plan": ("teacher", "/room/"),
    "bench": ("technician", "/bench/"),
    "plate": ("technician", "/room/ > table a[href^='/plates/']"),  # the first plate of the plan
    "printer": ("technician", "/printers/1/"),
    "spools": ("technician", "/spools/"),
    "what-if": ("technician", "/rooms/1/what-if/"),
    "lesson": ("teacher", "/lessons/1/"),
    "class": ("teacher", "/classes/1/"),
    "lab-sheet": ("student", "/lab/"),
    "lab-board": ("teacher", "/lab/ > main a[href$='/board/']"),
    "print-outs": ("teacher", "/print-outs/"),
    "school": ("administrator", "/school/"),
    "tokens": ("administrator", "/tokens/"),
}
OTHERWISE = {  # the same by night, on a phone, on a tablet: name, screen, width in px, night
    "part-report-phone": ("part-report", 360, False),
    "lab-sheet-phone-night": ("lab-sheet", 360, True),
    "bench-tablet-night": ("bench", 1024, True),
    "today-night": ("today", 1440, True),
    "review-night": ("review", 1440, True),
}
COLOURS = 96  # of a picture that is kept: paper, ink and a few hues
MOST_BYTES = 3_000_000  # of all pictures together


def words(page: Page) -> list[str]:
    """Headings and column heads: what a screen is made of, without names, dates and figures. The first heading may tell
    how things stand ("One thing needs you"), so it does not count. What is folded away is opened first:
    a lab's cautions fold once somebody has measured."""
    page.evaluate("document.querySelectorAll('main details').forEach((folded) => (folded.open = true))")
    said = page.locator("main :is(h2, h3, caption, th[scope=col])").all_inner_texts()
    plain = (re.sub(r"\s+", " ", re.sub(r"\b[\w+×]*\d[\w:.,×]*", "#", text)).strip() for text in said)
    return sorted({text for text in plain if text and "#" not in text})


def photograph(page: Page, picture: Path, width: int, height: int) -> None:
    """The top of the page, in few colours, so that the pictures stay small."""
    page.set_viewport_size({"width": width, "height": height})  # what stays at the foot of a window covers nothing
    page.screenshot(path=picture, full_page=True, clip={"x": 0, "y": 0, "width": width, "height": height})
    assert picture.stat().st_size > 20_000
    with Image.open(picture) as taken:
        taken.convert("RGB").quantize(COLOURS).save(picture, optimize=True)


def opened(page: Page, url: str) -> str:
    """Where a screen is: its address, or that of the first link ``page > link`` names."""
    page_url, _, link = url.partition(" > ")
    if not link:
        return url
    page.goto(page_url)
    return page.locator(link).first.get_attribute("href") or ""


@pytest.mark.parametrize("name", SCREENS)
def test_screen(demo: Demo, browser: Browser, name: str, tmp_path: Path):
    role, url = SCREENS[name]
    desk = open_desk(browser, demo, role)
    url = opened(desk.page, url)
    for width in WIDTHS:
        desk.page.set_viewport_size({"width": width, "height": 900})
        answer = desk.page.goto(url)
        assert answer is not None
        assert answer.status == 200
        wide = desk.page.evaluate("document.documentElement.scrollWidth")
        assert wide <= width, f"{name} scrolls sideways at {width} px: {wide}"
    assert desk.complaints == []
    picture = (FOLDER if WRITE else tmp_path) / f"{name}.png"
    picture.parent.mkdir(parents=True, exist_ok=True)
    height = min(TALLEST, desk.page.evaluate("document.documentElement.scrollHeight"))
    photograph(desk.page, picture, WIDTHS[-1], height)
    noted = json.loads(NOTED.read_text()) if NOTED.exists() else {}
    if WRITE:
        NOTED.write_text(
            json.dumps({**noted, name: words(desk.page)}, indent=1, ensure_ascii=False, sort_keys=True) + "\n"
        )
    else:
        missing = [text for text in noted[name] if text not in words(desk.page)]
        assert not missing, f"{name} no longer says {missing}: take the pictures anew"
    desk.page.context.close()


@pytest.mark.parametrize("name", OTHERWISE)
def test_screen_by_night_and_on_small_screens(demo: Demo, browser: Browser, name: str, tmp_path: Path):
    screen, width, night = OTHERWISE[name]
    role, url = SCREENS[screen]
    desk = open_desk(browser, demo, role, width=width, dark=night)
    desk.page.goto(opened(desk.page, url))
    desk.page.wait_for_timeout(SETTLE_MS)
    assert desk.page.evaluate("document.documentElement.scrollWidth") <= width
    assert desk.complaints == []
    height = min(TALLEST, desk.page.evaluate("document.documentElement.scrollHeight"))
    photograph(desk.page, (FOLDER if WRITE else tmp_path) / f"{name}.png", width, height)
    missing = [text for text in json.loads(NOTED.read_text())[screen] if text not in words(desk.page)]
    assert not missing
    desk.page.context.close()


def test_the_pictures_are_all_there_and_small():
    kept = {path.stem: path.stat().st_size for path in FOLDER.glob("*.png")}
    assert set(kept) == set(SCREENS) | set(OTHERWISE)
    assert sum(kept.values()) < MOST_BYTES


def test_readme_shows_only_pictures_that_are_there():
    shown = re.findall(r"\(docs/screens/([\w-]+)\.png\)", (ROOT / "README.md").read_text())
    assert shown
    assert set(shown) <= set(SCREENS)
    assert all((FOLDER / f"{name}.png").exists() for name in shown)
