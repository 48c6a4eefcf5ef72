"""No page asks anybody else for anything: every request of a walk through the site by every role goes to this host."""

from __future__ import annotations

import re
from urllib.parse import urlsplit

import pytest
from playwright.sync_api import Browser

from tests.browser.conftest import Demo

pytestmark = [pytest.mark.browser, pytest.mark.slow]
PAGES = {
    "student": ["/parts/", "/lessons/", "/lab/"],
    "teacher": ["/today/", "/review/", "/queue/", "/classes/", "/lab/", "/lessons/", "/second-step/"],
    "technician": ["/bench/", "/spools/", "/lessons/"],
    "administrator": ["/people/", "/privacy/", "/privacy/records/", "/set-up/"],
}


@pytest.mark.parametrize("role", PAGES)
def test_every_request_stays_on_this_host(demo: Demo, browser: Browser, role: str):
    context = browser.new_context(base_url=demo.address)
    asked: list[str] = []
    context.on("request", lambda request: asked.append(request.url))
    page = context.new_page()
    page.goto("/sign-in/")
    page.get_by_role("button", name=re.compile(role, re.IGNORECASE)).first.click()
    page.wait_for_load_state("load")
    opened = 0
    for path in PAGES[role]:
        answer = page.goto(path)
        page.wait_for_load_state("load")
        opened += bool(answer and answer.ok)
    for link in page.get_by_role("navigation").get_by_role("link").all():
        path = link.get_attribute("href")
        answer = page.request.get(path or "/")
        opened += answer.ok
    context.close()
    here = urlsplit(demo.address).netloc
    elsewhere = [url for url in asked if urlsplit(url).scheme not in {"data", "blob"} and urlsplit(url).netloc != here]
    assert opened >= 4
    assert len(asked) > 20
    assert elsewhere == []
