"""Journeys by keyboard alone: Tab, arrows, Enter, Space and letters; no pointer, and no focus set by script. What is
done is taken back, for other tests look at the same demo."""

from __future__ import annotations

import re

import pytest
from playwright.sync_api import Browser, Page, expect
from playwright.sync_api import TimeoutError as PlaywrightTimeoutError

from tests.browser.conftest import PIN, ROOT, Demo, new_desk, open_desk, student_desk

pytestmark = [pytest.mark.browser, pytest.mark.slow]
WAIT_MS = 30_000
TABS_MOST = 150
KIT = ROOT / "demo_fixtures" / "meshes" / "kit"


def tab_to(page: Page, selector: str) -> int:
    """Press Tab until what has the focus fits the selector; answers how often. Fails when it cannot be reached, or when
    it has the focus and nobody can see it."""
    for presses in range(1, TABS_MOST + 1):
        page.keyboard.press("Tab")
        if page.evaluate("selector => document.activeElement?.matches(selector) ?? false", selector):
            shown = page.evaluate(
                "() => { const box = document.activeElement.getBoundingClientRect();"
                " return box.width > 0 && box.bottom > 0 && box.top < innerHeight; }"
            )
            assert shown, f"{selector} has the focus out of sight"
            return presses
    raise AssertionError(f"{selector} is not reached by Tab")


def test_a_part_is_reviewed(demo: Demo, browser: Browser):
    desk = open_desk(browser, demo, "teacher")
    page = desk.page
    page.goto("/review/")
    before = page.locator(".pile a").count()
    assert before > 1
    tab_to(page, "form[data-key=a] button")
    page.keyboard.press("Enter")
    expect(page.locator("#messages")).to_contain_text("is approved", timeout=WAIT_MS)
    page.keyboard.press("u")
    expect(page.locator("#messages")).to_contain_text("waits again", timeout=WAIT_MS)
    assert page.locator(".pile a").count() == before
    tab_to(page, "[data-send-back]")
    page.keyboard.press("Enter")
    expect(page.locator("form[data-return] textarea")).to_be_focused()
    assert desk.complaints == [], desk.complaints
    page.context.close()


def test_the_queue_is_ordered_and_the_focus_stays(demo: Demo, browser: Browser):
    desk = open_desk(browser, demo, "teacher")
    page = desk.page
    page.goto("/queue/")
    rows = page.locator("[data-row]")
    order = rows.evaluate_all("rows => rows.map((row) => row.dataset.row)")
    assert len(order) > 2
    tab_to(page, f"#up-{order[1]}")
    page.keyboard.press("Space")
    expect(page.locator("#queue-said")).to_contain_text("moved up", timeout=WAIT_MS)
    now = rows.evaluate_all("rows => rows.map((row) => row.dataset.row)")
    assert now[:2] == [order[1], order[0]]
    tab_to(page, f"#down-{order[1]}")
    page.keyboard.press("Enter")
    expect(page.locator("#queue-said")).to_contain_text("moved down", timeout=WAIT_MS)
    assert rows.evaluate_all("rows => rows.map((row) => row.dataset.row)") == order
    assert desk.complaints == [], desk.complaints
    page.context.close()


def test_a_print_is_started_failed_and_both_are_taken_back(demo: Demo, browser: Browser):
    """By the page of its plate: every check the form asks for is ticked by Space."""
    desk = open_desk(browser, demo, "technician")
    page = desk.page
    page.goto("/bench/")
    plates = page.locator(".todo a[href^='/plates/']").evaluate_all("links => links.map((link) => link.pathname)")
    for path in plates:  # the first whose printer is free and has the right spool
        page.goto(path)
        if page.locator("form[action$='/start/'] button[type=submit]").count():
            break
    assert page.locator("form[action$='/start/'] button[type=submit]").count() == 1
    checks = page.locator("form[action$='/start/'] input[type=checkbox]")
    names = checks.evaluate_all("boxes => boxes.map((box) => box.name)")
    assert {"right_spool", "bed_clear", "file_loaded"} <= set(names)
    for name in names:
        tab_to(page, f"form[action$='/start/'] input[name={name}]")
        page.keyboard.press("Space")
    tab_to(page, "form[action$='/start/'] button[type=submit]")
    page.keyboard.press("Enter")
    page.wait_for_url(re.compile("/(bench|runs)/"))
    page.goto("/bench/")
    tab_to(page, ".printer a[href^='/runs/']")
    page.keyboard.press("Enter")
    page.wait_for_url(re.compile("/runs/"))
    tab_to(page, "input[name=reason]")
    page.keyboard.press("Space")
    tab_to(page, "input[name=cool]")
    page.keyboard.press("Space")
    tab_to(page, "button[value=failed]")
    page.keyboard.press("Enter")
    expect(page.locator("#messages")).to_contain_text("failed", timeout=WAIT_MS)
    for said in ("The clearing of", "The start of"):
        tab_to(page, "button[id^=undo-]")
        page.keyboard.press("Enter")
        expect(page.locator("#messages")).to_contain_text(said, timeout=WAIT_MS)
    assert desk.complaints == [], desk.complaints
    page.context.close()


def choose_file(page: Page, path: str) -> None:
    """By Enter on the field; its window is the operating system's, which has keys of its own. A key pressed while the
    browser is busy may open none: then it is pressed again."""
    for _try in range(3):
        tab_to(page, "form[data-drop] input[type=file]")
        try:
            with page.expect_file_chooser(timeout=10_000) as opened:
                page.keyboard.press("Enter")
        except PlaywrightTimeoutError:
            page.keyboard.press("Shift+Tab")
            continue
        opened.value.set_files(path)
        return
    raise AssertionError("no window to choose a file came")


def test_a_student_signs_in_and_hands_a_part_in(demo: Demo, browser: Browser):
    """From the card with its code and four pictures to a part handed in and taken back."""
    desk = new_desk(browser, demo)
    page = desk.page
    page.goto("/sign-in/student/")
    for field, said in (("class_code", "WAVE-29"), ("nickname", "Jonte")):
        tab_to(page, f"input[name={field}]")
        page.keyboard.type(said)
    for picture in PIN.split(","):
        tab_to(page, f"[data-picture={picture}]")
        page.keyboard.press("Space")
    expect(page.locator("[data-pin] button[type=submit]")).to_be_focused()
    page.keyboard.press("Enter")
    page.wait_for_url(re.compile("/parts/"))
    page.wait_for_load_state("networkidle")
    choose_file(page, str(KIT / "hull.stl"))
    page.wait_for_url(re.compile(r"/submissions/\d+/"), timeout=WAIT_MS)
    expect(page.locator("#verdict")).to_be_visible(timeout=2 * WAIT_MS)
    tab_to(page, "form[action$='/hand-in/'] button")
    page.keyboard.press("Enter")
    expect(page.locator("#messages")).to_contain_text("is handed in", timeout=WAIT_MS)
    tab_to(page, "form[action$='/take-back/'] button")
    page.keyboard.press("Enter")
    expect(page.locator("#messages")).to_contain_text("is yours again", timeout=WAIT_MS)
    assert desk.complaints == [], desk.complaints
    page.context.close()


def test_readings_are_entered_and_one_is_corrected(demo: Demo, browser: Browser):
    """The watch by the space bar, a time typed, one that is no number, and the same one mended."""
    desk = student_desk(browser, demo, "PINE-47", "Cleo", width=1024)
    page = desk.page
    page.goto("/lab/")
    expect(page.locator("#measured")).to_be_visible()
    place = page.locator("#readings .trials a").count() + 1  # of the reading by the watch; the typed one comes next
    tab_to(page, "[data-watch-button]")
    page.keyboard.press("Space")
    page.wait_for_timeout(400)
    page.keyboard.press("Space")
    watched = page.input_value("#measured")
    assert float(watched) > 0.3
    tab_to(page, "#lab-form button[type=submit]")
    page.keyboard.press("Enter")
    expect(page.locator("#readings")).to_contain_text(watched, timeout=WAIT_MS)
    expect(page.locator("#measured")).to_be_focused()  # ready for the next run
    page.keyboard.type("fast")
    page.keyboard.press("Enter")
    expect(page.locator("#measured")).to_have_attribute("aria-invalid", "true")
    expect(page.locator("#measured-error")).to_be_visible()
    page.keyboard.press("Control+a")
    page.keyboard.type("2.71")
    page.keyboard.press("Enter")
    typed = page.locator("#readings .trials li").nth(place)
    expect(typed).to_contain_text("2.71", timeout=WAIT_MS)
    tab_to(page, f"#readings .trials li:nth-child({place + 1}) a")
    page.keyboard.press("Enter")
    page.wait_for_url(re.compile("correct="))
    tab_to(page, "#measured")
    page.keyboard.type("2.74")
    page.keyboard.press("Enter")
    expect(typed).to_contain_text("2.74", timeout=WAIT_MS)
    assert desk.complaints == [], desk.complaints
    page.context.close()
