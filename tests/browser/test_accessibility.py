"""Every page of every role, by phone and on a desk, through axe-core: the rules for WCAG 2.2 A and AA and its good
practice (axe-core, by the package axe-playwright-python). Zero violations. What a machine cannot tell stands in the
journeys by keyboard (``test_keyboard.py``)."""

from __future__ import annotations

import os
from typing import Any

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser

from tests.browser.conftest import Demo, addresses_of, open_desk

pytestmark = [pytest.mark.browser, pytest.mark.slow]
RULES = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]
OPTIONS = {"runOnly": {"type": "tag", "values": RULES}, "resultTypes": ["violations"]}
LEAST = {"nobody": 2, "student": 10, "teacher": 30, "technician": 25, "administrator": 50}


def violations(axe: Axe, page: Any) -> list[str]:
    found = axe.run(page, options=OPTIONS).response["violations"]
    return [f"{rule['id']} {node['target']}: {node['html'][:200]}" for rule in found for node in rule["nodes"]]


@pytest.mark.skipif(os.environ.get("MAKERLAB_AXE") != "1", reason="230 pages take long: MAKERLAB_AXE=1 runs them")
@pytest.mark.parametrize("width", [360, 1280])
@pytest.mark.parametrize("role", list(LEAST))
def test_no_page_breaks_a_rule(demo: Demo, browser: Browser, pages: list[dict[str, Any]], role: str, width: int):
    desk, axe = open_desk(browser, demo, role, width=width), Axe()
    told: dict[str, list[str]] = {}
    seen = 0
    for path in addresses_of(pages, role).values():
        answer = desk.page.goto(path)
        if answer is None or answer.status == 404:
            continue  # another test has taken it away since the walk
        seen += 1
        if broken := violations(axe, desk.page):
            told[path] = broken
    assert told == {}
    assert seen >= LEAST[role]
    assert [said for said in desk.complaints if "404" not in said] == []
    desk.page.context.close()


def test_the_rules_find_what_is_wrong(browser: Browser):
    """So that silence means something: a picture without words and pale text are told."""
    page = browser.new_page()
    page.set_content('<main><h1>Words</h1><img src="data:,"><p style="color:#ccc;background:#fff">pale</p></main>')
    told = " ".join(violations(Axe(), page))
    assert "image-alt" in told
    assert "color-contrast" in told
    page.close()
