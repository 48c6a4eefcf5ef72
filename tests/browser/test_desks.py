"""The review desk by its keys and the queue by dragging, in a real browser. What is done is taken back, for other tests
look at the same demo."""

from __future__ import annotations

import re

import pytest
from playwright.sync_api import Browser, Page, Route, expect

from tests.browser.conftest import Demo, open_desk

pytestmark = [pytest.mark.browser, pytest.mark.slow]
WAIT_MS = 20_000


def waiting(page: Page) -> int:
    return page.locator(".pile a").count()


def test_the_desk_is_worked_by_single_keys(demo: Demo, browser: Browser):
    desk = open_desk(browser, demo, "teacher")
    page = desk.page
    page.goto("/review/")
    before, first = waiting(page), page.url
    assert before > 1
    page.keyboard.press("a")
    expect(page.locator("#messages")).to_contain_text("is approved", timeout=WAIT_MS)
    assert waiting(page) == before - 1
    page.keyboard.press("u")
    expect(page.locator("#messages")).to_contain_text("waits again", timeout=WAIT_MS)
    assert waiting(page) == before
    page.goto(first)
    page.keyboard.press("r")
    note = page.locator("form[data-return] textarea")
    expect(note).to_be_focused()
    page.keyboard.press("1")
    sentence = (
        page.locator("form[data-return] label").first.locator("span").evaluate("span => span.firstChild.textContent")
    )
    expect(note).to_have_value(sentence.strip())
    page.keyboard.press("1")
    expect(note).to_have_value("")
    page.keyboard.type("Widen 2 mm")  # once somebody types, a figure is a figure
    expect(note).to_have_value("Widen 2 mm")
    page.locator("h1").click()
    page.keyboard.press("c")
    expect(page.locator("details[data-key=c]")).to_have_attribute("open", "")
    page.keyboard.press("k")
    page.wait_for_url(lambda url: url != first)
    assert desk.complaints == []
    page.context.close()


def test_a_row_of_the_queue_is_dragged_and_its_effect_is_told(demo: Demo, browser: Browser):
    desk = open_desk(browser, demo, "teacher")
    page = desk.page
    page.goto("/queue/")
    rows = page.locator("[data-row]")
    order = rows.evaluate_all("rows => rows.map((row) => row.dataset.row)")
    assert len(order) > 3
    handle = page.locator(f"[data-row='{order[0]}'] [data-handle]")
    handle.drag_to(page.locator(f"[data-row='{order[2]}']"), target_position={"x": 200, "y": 4})
    moved = [order[1], order[0], *order[2:]]
    expect(page.locator("#queue-said")).to_contain_text("moved", timeout=WAIT_MS)
    assert rows.evaluate_all("rows => rows.map((row) => row.dataset.row)") == moved
    expect(page.locator("#queue")).to_contain_text(re.compile("planned anew|What your last change did"))
    page.get_by_role("button", name=re.compile("^Move up")).and_(page.locator(f"#up-{order[0]}")).click()
    expect(page.locator("#queue-said")).to_contain_text("moved up", timeout=WAIT_MS)
    assert rows.evaluate_all("rows => rows.map((row) => row.dataset.row)") == order
    expect(page.locator("#queue")).to_contain_text("What your last change did", timeout=60_000)
    assert desk.complaints == []
    page.context.close()


def test_a_move_is_answered_though_the_list_asks_meanwhile(demo: Demo, browser: Browser):
    """The list asks for itself while the move is on its way, and is answered before it: what was moved is said still,
    and no later asking takes the words off the page."""
    desk = open_desk(browser, demo, "teacher")
    page = desk.page
    page.goto("/queue/")
    order = page.locator("[data-row]").evaluate_all("rows => rows.map((row) => row.dataset.row)")
    ask = "window.htmx.ajax('GET', '/queue/', { source: '#queue', target: '#queue', swap: 'outerHTML' })"

    held: list[Route] = []
    page.route("**/move/", lambda route: held.append(route))

    def asked() -> None:
        with page.expect_response(lambda answer: answer.url.endswith("/queue/") and answer.request.method == "GET"):
            page.evaluate(f"() => {{ {ask}; }}")
        page.wait_for_timeout(200)  # for what the answer does to the page

    for button, words in ((f"#up-{order[1]}", "moved up"), (f"#down-{order[1]}", "moved down")):
        with page.expect_request("**/move/"):
            page.locator(button).click()
        asked()
        held.pop().continue_()
        expect(page.locator("#queue-said")).to_contain_text(words, timeout=WAIT_MS)
        asked()
        expect(page.locator("#queue-said")).to_contain_text(words)
    assert page.locator("[data-row]").evaluate_all("rows => rows.map((row) => row.dataset.row)") == order
    assert desk.complaints == []
    page.context.close()
