"""A student's pages without a connection, in a browser: shown with a line above, forgotten after signing out."""

from __future__ import annotations

import time

import pytest
from playwright.sync_api import Browser, Error, Page, expect

from tests.browser.conftest import Demo, Desk, open_desk

pytestmark = [pytest.mark.browser, pytest.mark.slow]
KEPT = "caches.open('pages-1').then((kept) => kept.keys()).then((rows) => rows.map((row) => new URL(row.url).pathname))"

EXPIRE = """async () => {
  const kept = await caches.open("pages-1");
  const page = await kept.match("/parts/");
  const headers = new Headers(page.headers);
  headers.set("Makerlab-Keep-Until", String(Math.floor(Date.now() / 1000) - 1));
  await kept.put(location.origin + "/parts/", new Response(await page.text(), { headers }));
}"""
EXPIRED = """async () => {
  const page = await (await caches.open("pages-1")).match("/parts/");
  return Number(page.headers.get("Makerlab-Keep-Until")) * 1000 < Date.now();
}"""


STATE = """async () => {
  const known = await navigator.serviceWorker.getRegistration();
  return [known?.installing?.state, known?.waiting?.state, known?.active?.state, await caches.keys(), navigator.onLine];
}"""


def is_so(page: Page, expression: str, seconds: float) -> bool:
    """Asked again and again from outside: what the page itself evaluates later, its policy forbids."""
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        if page.evaluate(expression):
            return True
        page.wait_for_timeout(100)
    return False


def wait_until(page: Page, expression: str) -> None:
    assert is_so(page, expression, 60), (expression, page.evaluate(STATE))


def desk_that_keeps(demo: Demo, browser: Browser, width: int) -> Desk:
    """A student's desk whose first page is kept. A browser that has run for minutes now and then never starts the
    worker of a new profile (seen in Chromium 156); pages work without it, and the next profile has one."""
    for _try in range(3):
        desk = open_desk(browser, demo, "student", width=width)
        desk.page.goto("/parts/")
        if is_so(desk.page, f"{KEPT}.then((paths) => paths.includes('/parts/'))", 20):
            return desk
        print("no worker:", desk.page.evaluate(STATE), desk.complaints)
        desk.page.context.close()
    raise AssertionError("three profiles, and none of them keeps a page")


def test_parts_and_report_can_be_read_without_a_connection_until_the_student_signs_out(demo: Demo, browser: Browser):
    desk = desk_that_keeps(demo, browser, 360)
    page = desk.page
    page.reload()  # the worker may leave the page alone that was there before it, and looks after all later ones
    wait_until(page, "navigator.serviceWorker.controller !== null")
    report = page.get_by_role("link", name="Open its report").first.get_attribute("href") or ""
    page.goto(report)
    wait_until(page, f"{KEPT}.then((paths) => paths.includes('{report}'))")
    heading = page.locator("h1").inner_text()
    page.wait_for_load_state("networkidle")
    assert desk.complaints == []

    page.context.set_offline(True)
    page.goto(report)
    expect(page.locator("h1")).to_have_text(heading)
    expect(page.locator("[data-kept]")).to_contain_text("No connection. This is the page as it stood at")
    assert page.locator("main").evaluate("main => getComputedStyle(main).maxWidth") != "none"  # with its style sheets
    page.get_by_role("link", name="My parts").first.click()
    expect(page.locator("h1")).to_have_text("My parts")
    expect(page.locator("[data-kept]")).to_be_visible()

    page.context.set_offline(False)
    page.goto("/parts/")
    expect(page.locator("[data-kept]")).to_have_count(0)
    page.get_by_role("button", name="Sign out").click()
    own = "paths.some((path) => /^\\/(parts|submissions|lab)\\//.test(path))"
    wait_until(page, f"{KEPT}.then((paths) => !{own})")
    page.context.set_offline(True)
    with pytest.raises(Error, match=r"ERR_INTERNET_DISCONNECTED|ERR_FAILED"):
        page.goto("/parts/")
    page.context.close()


def test_a_kept_page_is_shown_no_longer_than_the_session(demo: Demo, browser: Browser):
    desk = desk_that_keeps(demo, browser, 1024)
    page = desk.page
    page.goto("/lessons/")  # the parts' page asks for itself now and then and would be kept anew
    page.wait_for_load_state("networkidle")
    for _try in range(5):
        page.evaluate(EXPIRE)
        page.wait_for_timeout(500)
        if page.evaluate(EXPIRED):
            break
    page.context.set_offline(True)
    with pytest.raises(Error, match=r"ERR_INTERNET_DISCONNECTED|ERR_FAILED"):
        page.goto("/parts/")
    page.context.close()
