"""Laying a plate out by hand in a real browser: keyboard, mouse, what is told while moving, and what is saved."""

from __future__ import annotations

import re
import sqlite3
import time

import pytest
from playwright.sync_api import Browser, Locator, Page, expect

from tests.browser.conftest import Demo, open_desk

pytestmark = [pytest.mark.browser, pytest.mark.slow]
PLAN_S = 180


def asked(demo: Demo, question: str, *values: object) -> list[tuple]:
    with sqlite3.connect(f"file:{demo.folder / 'makerlab.sqlite3'}?mode=ro", uri=True) as database:
        return database.execute(question, values).fetchall()


def a_plate(demo: Demo) -> int:
    """A planned plate with a few copies; waits for the plan."""
    question = """SELECT p.id FROM printing_plate p JOIN printing_printcopy c ON c.plate_id = p.id
                  WHERE p.state = 'planned' AND p.held = 0 AND p.printer_id IS NOT NULL
                  GROUP BY p.id HAVING count(*) BETWEEN 2 AND 8 ORDER BY p.setup_at DESC"""
    end = time.monotonic() + PLAN_S
    while time.monotonic() < end:
        if found := asked(demo, question):
            return int(found[0][0])
        time.sleep(0.5)
    raise AssertionError("no plate was planned")


def place(page: Page, copy: Locator) -> tuple[float, float, float]:
    number = copy.get_attribute("data-copy")
    x, y, turn = (float(page.locator(f"[name={name}-{number}]").input_value() or 0) for name in ("x", "y", "turn"))
    return x, y, turn


def drag(page: Page, copy: Locator, dx: int, dy: int) -> None:
    box = copy.locator(".disc").bounding_box()
    assert box is not None
    x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] * 0.3
    page.mouse.move(x, y)
    page.mouse.down()
    page.mouse.move(x + dx / 2, y + dy / 2)
    page.mouse.move(x + dx, y + dy, steps=3)
    page.mouse.up()


def push_off_the_bed(page: Page, number: str) -> None:
    """Told by word and shape, in the list, on the drawing and to who listens; and it cannot be saved so."""
    first = page.locator(f"[data-copy='{number}']")
    for _ in range(25):
        page.keyboard.press("Shift+ArrowDown")
    expect(page.locator("[data-troubles]")).to_contain_text("over the edge of the bed")
    expect(first).to_have_class(re.compile("clash"))
    expect(first.locator(".clash-mark")).to_be_visible()
    expect(page.locator("[data-said]")).to_contain_text("over the edge")
    expect(page.locator("[data-sound]")).to_be_hidden()
    page.get_by_role("button", name="Save this layout").click()  # refused, with what was moved still there
    expect(page.get_by_role("alert")).to_contain_text("over the edge of the bed")
    assert place(page, first)[1] == 0  # its middle stays over the bed, where it can be taken hold of


def bring_back(page: Page, number: str, x: float, y: float) -> None:
    """By the mouse, as many px as its mm."""
    first = page.locator(f"[data-copy='{number}']")
    bed = page.locator("[data-bed] .bed").bounding_box()
    assert bed is not None
    depth = float(page.locator("[data-bed]").get_attribute("data-depth") or 0)
    drag(page, first, 0, -round(y * bed["height"] / depth))
    assert place(page, first)[1] == pytest.approx(y, abs=1.0)
    page.locator(f"[name=x-{number}]").fill(f"{x:.2f}")
    page.locator(f"[name=y-{number}]").fill(f"{y:.2f}")
    page.locator("[data-sound]").wait_for(state="visible")


def take_one_off_and_save(page: Page, demo: Demo, plate: int) -> None:
    other = page.locator("[data-copy]:not(.away)").first
    gone = other.get_attribute("data-copy")
    other = page.locator(f"[data-copy='{gone}']")
    other.focus()
    page.keyboard.press("Delete")
    expect(other).to_be_hidden()
    page.get_by_role("button", name="Save this layout").click()
    page.wait_for_url(f"**/plates/{plate}/")
    expect(page.locator("body")).to_contain_text("by hand: its parts stay where they are")
    assert asked(demo, "SELECT arranged FROM printing_plate WHERE id = ?", plate) == [(1,)]
    assert asked(demo, "SELECT plate_id = ? FROM printing_printcopy WHERE id = ?", plate, gone) in [[(0,)], [(None,)]]


def test_moving_a_copy_by_keyboard_and_mouse(demo: Demo, browser: Browser):
    desk = open_desk(browser, demo, "technician", width=1280, height=1400)
    page = desk.page
    plate = a_plate(demo)
    page.goto(f"/plates/{plate}/")
    page.get_by_role("link", name="Lay it out by hand").click()
    expect(page.locator("[data-sound]")).to_be_visible()
    first = page.locator("[data-copy]:not(.away)").last  # drawn above the others, so that the mouse meets it
    number = first.get_attribute("data-copy") or ""
    x, y, turn = place(page, first)

    first.focus()
    page.keyboard.press("ArrowRight")
    page.keyboard.press("Shift+ArrowUp")
    page.keyboard.press("r")
    assert place(page, first) == pytest.approx((x + 1, y + 10, turn + 15), abs=0.06)
    page.keyboard.press("Shift+R")
    page.keyboard.press("ArrowLeft")
    page.keyboard.press("Shift+ArrowDown")
    assert place(page, first) == pytest.approx((x, y, turn), abs=0.06)

    push_off_the_bed(page, number)
    bring_back(page, number, x, y)
    take_one_off_and_save(page, demo, plate)
    page.get_by_role("button", name="Let the planner lay it out again").click()
    page.wait_for_url(re.compile("/room/"))
    expect(page.locator("body")).to_contain_text("The planner lays")
    expected = [each for each in desk.complaints if "422" not in each]  # the refused save is a 422 by design
    assert not expected


def keys_between(start: tuple[float, float, float], end: tuple[float, float, float]) -> list[str]:
    """Arrow keys that bring a copy from one place to within a millimetre of another."""
    pressed: list[str] = []
    for away, more, less in (
        (end[0] - start[0], "ArrowRight", "ArrowLeft"),
        (end[1] - start[1], "ArrowUp", "ArrowDown"),
    ):
        key, steps = (more if away > 0 else less), round(abs(away))
        pressed += [f"Shift+{key}"] * (steps // 10) + [key] * (steps % 10)
    return pressed


def test_a_collision_is_told_and_a_copy_comes_back_by_keyboard_alone(demo: Demo, browser: Browser):
    desk = open_desk(browser, demo, "technician", width=1280, height=1400)
    page = desk.page
    plate = a_plate(demo)
    page.goto(f"/plates/{plate}/arrange/")
    expect(page.locator("[data-sound]")).to_be_visible()
    copies = page.locator("[data-copy]:not(.away)")
    first, second = (copies.nth(at).get_attribute("data-copy") or "" for at in (0, 1))
    moved, other = (page.locator(f"[data-copy='{number}']") for number in (first, second))
    start, there = place(page, moved), place(page, other)

    moved.focus()
    for key in keys_between(start, there):
        page.keyboard.press(key)
    expect(page.locator("[data-troubles]")).to_contain_text("lie on top of each other")
    for each in (moved, other):
        expect(each).to_have_class(re.compile("clash"))
    expect(page.locator("[data-said]")).to_contain_text("lie on top of each other")
    for key in keys_between(place(page, moved), start):
        page.keyboard.press(key)
    page.locator("[data-sound]").wait_for(state="visible")

    page.keyboard.press("Delete")  # the focus goes on to its tick, where Space brings it back to where there is room
    expect(moved).to_be_hidden()
    expect(page.locator(f"[data-row='{first}'] input[name=on]")).to_be_focused()
    page.keyboard.press("Space")
    expect(moved).to_be_visible()
    page.locator("[data-sound]").wait_for(state="visible")
    page.locator("#save").focus()
    page.keyboard.press("Enter")
    page.wait_for_url(f"**/plates/{plate}/")
    assert asked(demo, "SELECT arranged FROM printing_plate WHERE id = ?", plate) == [(1,)]
    page.get_by_role("button", name="Let the planner lay it out again").press("Enter")
    page.wait_for_url(re.compile("/room/"))
    assert not desk.complaints
