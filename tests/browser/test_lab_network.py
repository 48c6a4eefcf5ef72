"""What a bad network does to lab day: an answer lost after the server stored, a tab closed with readings waiting, what
no phone can send as a time; and a board that follows without a reload and without taking the focus away."""

from __future__ import annotations

import re
from typing import Any

import pytest
from playwright.sync_api import Browser, Page, Route, expect

from tests.browser.conftest import Demo, open_desk
from tests.browser.test_lab_day import OWN, keep, sheet_addresses

pytestmark = [pytest.mark.browser, pytest.mark.slow]
KIT = "starting wheel"
NETWORK = ("ERR_FAILED", "ERR_INTERNET_DISCONNECTED", "htmx:")  # what a window says that cannot reach the site


def to_board(page: Page) -> str:
    """Opens the board of 8A, which no other test measures in; returns its address."""
    page.goto("/lab/")
    page.get_by_role("row", name=re.compile("8A")).get_by_role("link", name="class board").click()
    page.wait_for_url(re.compile(r"/board/"))
    return page.url.rstrip("/")


def readings(page: Page, board: str, team: str, design: str) -> list[float]:
    """What the server has stored, by the file it hands out."""
    answer = page.request.get(board.replace("/board", "/results.json")).json()["readings"]
    rows: list[dict[str, Any]] = [row for row in answer if (row["team"], row["design"]) == (team, design)]
    return [row["measured"] for row in rows]


def test_a_lost_answer_and_a_closed_tab_lose_and_double_nothing(browser: Browser, demo: Demo) -> None:
    """The first answer is thrown away after the server has stored the reading; then the line is cut, two more are
    entered, the tab is closed and opened again: three readings, each once."""
    desk = open_desk(browser, demo, "teacher", width=360)
    board = to_board(desk.page)
    sheet = f"{board}/{sheet_addresses(desk.page)['Stoats'].replace(OWN, KIT)}"
    desk.page.goto(sheet)
    answered: list[int] = []

    def lose_the_first(route: Route) -> None:
        if answered:
            route.continue_()
            return
        answered.append(route.fetch().status)  # stored by the server
        route.abort()

    desk.page.route("**/readings/", lose_the_first)
    keep(desk.page, "2.71")
    expect(desk.page.locator("#readings tr.chosen")).to_contain_text("2.71", timeout=15_000)
    expect(desk.page.locator("[data-waiting]")).to_be_empty(timeout=15_000)
    assert answered == [200]
    assert readings(desk.page, board, "Stoats", KIT) == [2.71]

    desk.page.context.set_offline(True)
    keep(desk.page, "0:02.72")
    keep(desk.page, "2,73 s")
    expect(desk.page.locator("[data-waiting]")).to_contain_text("2 waiting to be sent")
    desk.page.close()
    desk.page.context.set_offline(False)
    again = desk.page.context.new_page()
    again.goto(sheet)
    expect(again.locator("#readings tr.chosen")).to_contain_text("2.71, 2.72, 2.73", timeout=20_000)
    expect(again.locator("[data-waiting]")).to_be_empty()
    assert readings(again, board, "Stoats", KIT) == [2.71, 2.72, 2.73]
    assert [said for said in desk.complaints if not any(part in said for part in NETWORK)] == []
    again.context.close()


def test_what_is_no_time_stays_in_the_field_and_says_why(browser: Browser, demo: Demo) -> None:
    desk = open_desk(browser, demo, "teacher", width=360)
    board = to_board(desk.page)
    desk.page.goto(f"{board}/{sheet_addresses(desk.page)['Martens']}")
    for typed, told in (
        ("2:45 PM", "Seconds only"),
        ("2:45", "Seconds only"),
        ("zwei", "Write a number"),
        ("", "Write a number"),
    ):
        keep(desk.page, typed)
        expect(desk.page.locator("#measured-error")).to_contain_text(told)
        expect(desk.page.locator("#measured")).to_have_value(typed)
    keep(desk.page, "-2.5")  # a number, but no time: the server says so, and it is kept until somebody throws it away
    expect(desk.page.locator("[data-waiting]")).to_contain_text("A time is above 0 s.", timeout=15_000)
    desk.page.get_by_role("button", name="Throw away").click()
    expect(desk.page.locator("[data-waiting]")).to_be_empty()
    assert readings(desk.page, board, "Martens", OWN) == []
    assert desk.complaints == []
    desk.page.context.close()


# As if somebody's letters or names were so large that the table does not fit: it is pushed sideways.
PUSHED = """() => {
  const sheet = new CSSStyleSheet();
  sheet.replaceSync("#everyone-table { overflow-x: scroll } #everyone-table > table { display: block; width: 900px }");
  document.adoptedStyleSheets = [sheet];
  const box = document.getElementById("everyone-table");
  box.scrollLeft = 60;
  return box.scrollLeft;
}"""


def test_the_board_follows_without_a_reload_and_keeps_the_focus(browser: Browser, demo: Demo) -> None:
    board = open_desk(browser, demo, "teacher", width=360)
    address = to_board(board.page)
    team = open_desk(browser, demo, "teacher", width=360)
    team.page.goto(f"{address}/{sheet_addresses(board.page)['Newts']}")
    board.page.evaluate("window.notLoadedAgain = true")
    table = board.page.locator("#everyone-table")
    table.focus()
    assert board.page.evaluate(PUSHED) == 60
    for time in ("2.81", "2.82", "2.83"):
        keep(team.page, time)
    expect(board.page.get_by_role("row", name=re.compile("^Newts"))).to_contain_text(
        "2.82\u00a0±\u00a00.01", timeout=20_000
    )
    assert board.page.evaluate("document.activeElement.id") == "everyone-table"
    assert table.evaluate("box => box.scrollLeft") == 60
    link = board.page.get_by_role("link", name="starting wheel")
    link.focus()
    keep(team.page, "2.84")
    expect(board.page.get_by_role("row", name=re.compile("^Newts"))).to_contain_text(
        "2.83\u00a0±\u00a00.01", timeout=20_000
    )
    assert board.page.evaluate("document.activeElement.textContent") == "starting wheel"
    assert board.page.evaluate("window.notLoadedAgain") is True
    assert [board.complaints, team.complaints] == [[], []]
    for window in (board, team):
        window.page.context.close()
