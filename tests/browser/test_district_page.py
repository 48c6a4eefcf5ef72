"""The district's pages in a browser: a school is made there, and each page is held to the rules of all others. With
MAKERLAB_AXE=1 they go through axe-core; with ``MAKERLAB_SHOTS=folder`` they are photographed at three widths by day and
by night."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, expect

from tests.browser.conftest import ROOT, Demo, Desk, new_desk
from tests.browser.test_accessibility import violations

pytestmark = [pytest.mark.browser, pytest.mark.slow]
FOLDER, LANGUAGE = os.environ.get("MAKERLAB_SHOTS", ""), os.environ.get("MAKERLAB_SHOTS_LANGUAGE", "en")
WIDTHS = (360, 1024, 1440)
# who runs the district, signed in: a session of the demo's own database
SIGN_IN = """
from django.conf import settings
from django.test import Client
from tests.browser.walk import person_of
settings.ALLOWED_HOSTS, settings.DEMO = ["testserver"], True  # people are found by role
client = Client()
client.force_login(person_of("district"), "makerlab.accounts.backends.StaffBackend")
print("KEY", client.cookies[settings.SESSION_COOKIE_NAME].value, settings.SESSION_COOKIE_NAME)
"""
# schools of a district, in figures only: what stands in them does not matter here
SCHOOLS = """
from makerlab.accounts.models import School
for name in ("Alder Flat Middle School", "Brackenford School", "Three Mills School for Science and the Trades"):
    School.objects.get_or_create(name=name, defaults={"time_zone": "America/Chicago"})
School.objects.filter(name="Brackenford School").update(store_max_mb=1500)
"""


def run_in(demo: Demo, code: str) -> str:
    environment = {
        **os.environ, "MAKERLAB_VAR": str(demo.folder), "PYTHONPATH": os.pathsep.join([str(ROOT), str(ROOT / "queue")]),
    }  # fmt: skip
    command = [sys.executable, "manage.py", "shell", "-v0", "-c", code]
    done = subprocess.run(command, cwd=ROOT, env=environment, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr[-4000:]
    return done.stdout


@pytest.fixture(scope="module")
def cookie(demo: Demo) -> dict[str, str]:
    run_in(demo, SCHOOLS)
    value, name = run_in(demo, SIGN_IN).partition("KEY ")[2].split()
    return {"name": name, "value": value, "url": demo.address}


def office(browser: Browser, demo: Demo, cookie: dict[str, str], **window: Any) -> Desk:
    desk = new_desk(browser, demo, **window)
    desk.page.context.add_cookies([cookie])
    return desk


def shot(desk: Desk, name: str, width: int, dark: bool) -> None:
    if FOLDER:
        folder = Path(FOLDER) / f"{width}-{'night' if dark else 'day'}"
        folder.mkdir(parents=True, exist_ok=True)
        desk.page.screenshot(path=folder / f"{name}.png", full_page=True)


@pytest.mark.parametrize("dark", [False, True], ids=["day", "night"])
@pytest.mark.parametrize("width", WIDTHS)
def test_a_school_is_made_and_every_page_on_the_way_keeps_the_rules(
    demo: Demo, browser: Browser, cookie: dict[str, str], width: int, dark: bool
):
    desk, axe = office(browser, demo, cookie, width=width, dark=dark, language=LANGUAGE), Axe()
    page, name = desk.page, f"Larkhill School {width} {'night' if dark else 'day'}"
    told: dict[str, list[str]] = {}

    def look(what: str) -> None:
        assert page.evaluate("document.documentElement.scrollWidth") <= width, what
        shot(desk, what, width, dark)
        if os.environ.get("MAKERLAB_AXE") == "1" and (broken := violations(axe, page)):
            told[what] = broken

    page.goto("/district/")
    look("schools")
    page.locator("a[href='/district/schools/new/']").click()
    page.locator("#id_name").fill("Brackenford School")
    page.locator("#id_time_zone").fill("America/Denver")
    page.locator("#id_display_name").fill("Ida Ferns")
    page.locator("#id_username").fill(f"ida.{width}.{dark}")
    look("new")
    page.locator("main form button").click()
    expect(page.locator(".error")).to_be_visible()
    look("refused")
    page.locator("#id_name").fill(name)
    page.locator("main form button").click()
    page.locator("button[value=make]").wait_for()
    look("sure")
    page.locator("button[value=make]").click()
    expect(page.locator(".told-once")).to_be_visible()
    look("made")
    page.locator("main .body a[href='/district/']").click()
    page.locator("tr", has_text=name).locator("a").click()
    look("store")
    page.locator("#id_store_max_mb").fill("750")
    page.locator("main form button").click()
    expect(page.locator("tr", has_text=name)).to_contain_text("750")
    assert told == {}
    assert [said for said in desk.complaints if "422" not in said] == []
    page.context.close()


def test_the_administrators_of_the_demo_do_not_see_it(demo: Demo, browser: Browser, pages: list[dict[str, Any]]):
    """Walked as every role: only who runs the district gets these pages, and they keep the limits of all pages."""
    found = {(page["role"], page["name"]) for page in pages if page["name"].startswith("district:")}
    assert {role for role, _name in found} == {"district"}
    assert len(found) == 3
