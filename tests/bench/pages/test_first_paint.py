"""How soon the main page of each role shows something, in a real browser on the demo: first contentful paint (W3C Paint
Timing), the median of some visits, with an empty cache and with what an earlier visit left there, and on a processor
slowed four times, as a small laptop of a school. The peer is the browser itself with one line of text.

    pytest -m bench tests/bench/pages -s
"""

from __future__ import annotations

from statistics import median

import pytest
from playwright.sync_api import Browser, Page

from tests.browser.conftest import Demo, open_desk

pytestmark = pytest.mark.bench
ROLES = ("student", "teacher", "technician", "administrator")
VISITS = 5
SLOWER = 4
PAINTED = "() => performance.getEntriesByName('first-contentful-paint')[0]?.startTime"
PEER = "data:text/html,<title>peer</title><p>One line of text."


def first_paint_ms(page: Page, url: str) -> float:
    page.goto(url)
    page.wait_for_function(PAINTED)
    return float(page.evaluate(PAINTED))


def visits(page: Page, url: str, cold: bool, slower: int) -> float:
    """Median of the first contentful paint, ms."""
    browser_itself = page.context.new_cdp_session(page)
    browser_itself.send("Network.setCacheDisabled", {"cacheDisabled": cold})
    browser_itself.send("Emulation.setCPUThrottlingRate", {"rate": slower})
    times = []
    for _ in range(VISITS):
        page.goto("about:blank")
        times.append(first_paint_ms(page, url))
    browser_itself.detach()
    return median(times)


@pytest.mark.parametrize("role", ROLES)
def test_first_contentful_paint(demo: Demo, browser: Browser, role: str) -> None:
    desk = open_desk(browser, demo, role)
    address = desk.page.url  # where a role lands who has signed in
    for slower in (1, SLOWER):
        peer = visits(desk.page, PEER, True, slower)
        cold, warm = (visits(desk.page, address, empty, slower) for empty in (True, False))
        print(
            f"\n{role} {address.removeprefix(demo.address)} processor/{slower}: cache empty {cold:.0f} ms, "
            f"kept {warm:.0f} ms, one line of text {peer:.0f} ms: {cold / peer:.1f} and {warm / peer:.1f} times",
            end="",
        )
        assert min(cold, warm, peer) > 0
    desk.page.context.close()
