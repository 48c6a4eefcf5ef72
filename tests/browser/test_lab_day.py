"""Lab day in real browser windows: students of three teams sign in and enter at once, one loses its connection in
between, and the class board ends right without being loaded again."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page, expect

from tests.browser.conftest import Demo, open_desk, student_desk

pytestmark = [pytest.mark.browser, pytest.mark.slow]

OWN = "own wheel"
CODE = "PINE-47"  # of class 7B
STUDENTS = {"Hares": "Tavi", "Toads": "Bee", "Moles": "Odie"}
TEAMS = {"Hares": ("2.84", "2.79", "2.86"), "Toads": ("2.91", "2,95", "2.93"), "Moles": ("2.70", "2.74", "2.75")}
MEANS = {"Hares": "2.83 ± 0.02 s", "Toads": "2.93 ± 0.01 s", "Moles": "2.73 ± 0.02 s"}  # worked out by hand


def keep(page: Page, time: str) -> None:
    page.locator("#measured").fill(time)
    page.locator("#measured").press("Enter")


def sheet_addresses(board: Page) -> dict[str, str]:
    """Each team's sheet as a teacher opens it, from the links of the board."""
    found = {}
    for link in board.locator("a[id^=team-]").all():
        number = re.search(r"team=(\d+)", link.get_attribute("href") or "")
        if number:
            found[link.inner_text()] = f"../?team={number[1]}&design={OWN}&at=0"
    return found


def test_three_teams_at_once_and_a_lost_connection(browser: Browser, demo: Demo, tmp_path: Path) -> None:
    board = open_desk(browser, demo, "teacher", width=1440)
    board.page.goto("/lab/")
    board.page.get_by_role("row", name=re.compile("7B")).get_by_role("link", name="class board").click()
    board.page.wait_for_url(re.compile(r"/board/"))
    desks = {team: student_desk(browser, demo, CODE, name) for team, name in STUDENTS.items()}
    for desk in desks.values():
        desk.page.goto("/lab/")
        desk.page.get_by_role("link", name=OWN).click()
        expect(desk.page.locator("#measured")).to_be_visible()
    # one after the other within the same seconds, the Toads without a connection from their second run on
    toads = desks["Toads"].page
    for run in range(3):
        for team, times in TEAMS.items():
            if team == "Toads" and run == 1:
                toads.context.set_offline(True)
            keep(desks[team].page, times[run])
    expect(toads.locator("[data-waiting]")).to_contain_text("2 waiting to be sent")
    expect(board.page.locator("#everyone").locator("xpath=ancestor::section")).to_contain_text("2.91", timeout=15_000)
    toads.wait_for_timeout(2500)  # long enough for a try that fails
    toads.context.set_offline(False)
    expect(toads.locator("[data-waiting]")).to_be_empty(timeout=20_000)
    for team, mean in MEANS.items():
        row = board.page.get_by_role("row", name=re.compile(rf"^{team}\b"))
        expect(row).to_contain_text(mean.replace(" ", "\u00a0"), timeout=15_000)
        expect(desks[team].page.locator("#readings")).to_contain_text(mean.replace(" ", "\u00a0"), timeout=15_000)
    for team, desk in desks.items():
        without_a_line = ("ERR_INTERNET_DISCONNECTED", "htmx:")  # what a window says that cannot reach the site
        lost = [said for said in desk.complaints if not any(part in said for part in without_a_line)]
        assert lost == [], team
    assert board.complaints == []
    for window in (board, *desks.values()):
        window.page.context.close()  # it would go on asking the site while that stops


def test_the_stopwatch_by_space_bar(browser: Browser, demo: Demo) -> None:
    """Start and stop by key; the time lies within 0.15 s of the pause between the two strokes."""
    desk = open_desk(browser, demo, "student", width=360)
    desk.page.goto("/lab/")
    desk.page.wait_for_selector("[data-watch-button]")
    desk.page.locator("h1").click()
    desk.page.keyboard.press("Space")
    desk.page.wait_for_timeout(1200)
    desk.page.keyboard.press("Space")
    seconds = float(desk.page.input_value("#measured"))
    assert 1.15 <= seconds <= 1.6
    desk.page.get_by_role("button", name="Keep").click()
    expect(desk.page.locator("#readings")).to_contain_text(f"{seconds:.2f}")
    assert desk.complaints == []
    desk.page.context.close()


def test_two_of_a_team_at_once_and_a_frozen_board(browser: Browser, demo: Demo) -> None:
    """Two windows of one team enter by keyboard alone, with the load as weighed; neither overwrites the other. A frozen
    board keeps what it showed and takes notes; let run, it follows again."""
    board = open_desk(browser, demo, "teacher", width=1440)
    board.page.goto("/lab/")
    board.page.get_by_role("row", name=re.compile("7B")).get_by_role("link", name="class board").click()
    board.page.wait_for_url(re.compile(r"/board/"))
    address = board.page.url.rstrip("/")
    sheet = f"{address}/{sheet_addresses(board.page)['Larks'].replace('at=0', 'at=200')}"
    one, two = (open_desk(browser, demo, "teacher", width=width) for width in (360, 1024))
    for desk in (one, two):
        desk.page.goto(sheet)
    for desk, time in ((one, "2.50"), (two, "2.60")):
        desk.page.locator("#measured").focus()
        desk.page.keyboard.type(time)
        desk.page.keyboard.press("Tab")
        desk.page.keyboard.type("200.6")
        desk.page.keyboard.press("Enter")
    for desk in (one, two):
        expect(desk.page.locator("#readings tr.chosen")).to_contain_text("2.50, 2.60", timeout=15_000)
    row = board.page.get_by_role("row", name=re.compile(r"^Larks\b"))
    expect(row).to_contain_text("from 2.50", timeout=15_000)
    board.page.get_by_role("button", name="Freeze the board").click()
    board.page.get_by_label("Notes for the discussion").fill("Why is the loaded cart faster?")
    board.page.get_by_role("button", name="Save the notes").click()
    expect(board.page.locator("#live")).to_contain_text("Why is the loaded cart faster?")
    keep(one.page, "2.55")
    expect(two.page.locator("#readings tr.chosen")).to_contain_text("2.55", timeout=15_000)
    board.page.wait_for_timeout(4000)  # longer than the board waits between two looks
    expect(row).to_contain_text("from 2.50")
    board.page.get_by_role("button", name="Let the board run").click()
    expect(row).to_contain_text("2.55\u00a0±\u00a00.03", timeout=15_000)  # mean 2.55, sd 0.05, 0.05 / sqrt 3 = 0.029
    assert [window.complaints for window in (board, one, two)] == [[], [], []]
    for window in (board, one, two):
        window.page.context.close()
