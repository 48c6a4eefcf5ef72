"""A student's wheel from the browser to the tray, through a failed copy and its reprint, in a real browser.

What is clicked is what people click; the database is only read, to know which plates to look for.
"""

from __future__ import annotations

import re
import sqlite3
import time

import pytest
from playwright.sync_api import Browser, Page, expect

from makerlab.demo.fixtures import student_path
from meshcheck.reading import read_mesh
from meshcheck.repair import repair
from meshcheck.types import Unit
from tests.browser.conftest import Demo, open_desk

pytestmark = [pytest.mark.browser, pytest.mark.slow]
CHECK_MS, PLAN_S = 60_000, 180


def upload(page: Page, file: str) -> None:
    page.goto("/parts/")
    page.locator("input[type=file]").first.set_input_files(str(student_path({"file": file})))
    page.wait_for_url(re.compile(r"/submissions/\d+/"), timeout=CHECK_MS)


def copies(demo: Demo, submission: int) -> list[tuple[int, str, int | None]]:
    """Copy id, state and plate id of everything ordered for a submission."""
    question = """SELECT c.id, c.state, c.plate_id FROM printing_printcopy c
                  JOIN printing_printrequest r ON r.id = c.request_id WHERE r.submission_id = ?"""
    with sqlite3.connect(f"file:{demo.folder / 'makerlab.sqlite3'}?mode=ro", uri=True) as database:
        rows: list[tuple[int, str, int | None]] = database.execute(question, (submission,)).fetchall()
    return rows


def wait_for_plate(demo: Demo, submission: int) -> int:
    """The plate of the first copy that is planned; waits for the plan."""
    end = time.monotonic() + PLAN_S
    while time.monotonic() < end:
        plates = [plate for _, state, plate in copies(demo, submission) if state == "planned" and plate]
        if plates:
            return plates[0]
        time.sleep(0.5)
    raise AssertionError(f"nothing planned: {copies(demo, submission)}")


def tick_all(page: Page, form: str) -> None:
    for box in page.locator(f"{form} input[type=checkbox]:not([name=lost])").all():
        box.check()


def swap_spool(page: Page, printer: str, wanted: str) -> None:
    """Load a spool of a colour and material on a printer that rests: from the shelf, or else from another printer."""
    page.goto("/spools/")
    cards = page.locator(".spool-grid > li").filter(has_text=re.compile(re.escape(wanted), re.IGNORECASE))
    shelf = cards.filter(has_text="on the shelf")
    card = (shelf if shelf.count() else cards).first
    card.locator("select[name$=printer]").select_option(label=printer)
    card.get_by_role("button", name="Load", exact=True).click()
    page.wait_for_load_state()
    assert page.locator(".error").count() == 0, page.locator(".error").all_inner_texts()


def start(page: Page, plate: int) -> bool:
    """Start a plate on the printer proposed, its spool swapped first where the page says so.

    False: the plan has meanwhile put its copies elsewhere, and nothing was started.
    """
    form = "form[action$='/start/']"
    for _ in range(2):
        page.goto(f"/plates/{plate}/")
        if page.locator(form).count() == 0:
            return False
        if page.locator(f"{form} input[name=printer]:checked:enabled").count() == 0:
            page.locator(f"{form} input[name=printer]:enabled").first.check()
        pick = page.locator(f"{form} label.pick").filter(has=page.locator("input:checked"))
        if "swap it first" not in pick.inner_text():
            break
        wanted = re.search(r"The right spool is loaded: (\w+ \w+),", page.locator(form).inner_text()).group(1)
        swap_spool(page, pick.locator("b").first.inner_text(), wanted)
    tick_all(page, form)
    page.get_by_role("button", name=re.compile("^Start P")).click()
    page.wait_for_load_state()
    assert f"/plates/{plate}/start" not in page.url, page.locator("[role=alert], .error").all_inner_texts()
    return True


def open_run(page: Page, plate: int) -> None:
    page.goto(f"/plates/{plate}/")
    page.get_by_role("link", name=re.compile("Printing on")).click()
    expect(page.locator("h1")).to_contain_text("Clear")


def test_from_upload_to_tray_with_a_failed_copy(demo: Demo, browser: Browser):
    student = open_desk(browser, demo, "student")
    teacher = open_desk(browser, demo, "teacher")
    technician = open_desk(browser, demo, "technician")
    submission = submit(student.page)
    approve(teacher.page, submission)
    first = wait_for_plate(demo, submission)
    take_file(technician.page, first)
    assert start(technician.page, first)
    student.page.goto("/parts/")
    expect(student.page.locator("#where")).to_contain_text("printing on")
    lose_one(demo, technician.page, first, submission)
    student.page.goto("/parts/")
    expect(student.page.locator("#list")).not_to_contain_text("in tray 1, 4 of 4")
    print_the_rest(demo, technician.page, submission)
    assert [state for _, state, _ in copies(demo, submission)] == ["in_tray"] * 4
    student.page.goto("/parts/")
    expect(student.page.locator("#where")).to_contain_text("in tray 1")
    for desk in (student, teacher, technician):
        assert desk.complaints == []
        desk.page.context.close()


def submit(page: Page) -> int:
    """A bad version with its reason, then a good one, handed in. Returns the good one's id."""
    upload(page, "voles-wheel-2.stl")
    expect(page.locator("main")).to_contain_text("must be fixed", timeout=CHECK_MS)
    expect(page.locator("main")).to_contain_text("Undo the scaling")
    upload(page, "newts-cut-off.stl")
    expect(page.locator("main")).to_contain_text("cut off", timeout=CHECK_MS, ignore_case=True)
    upload(page, "otters-wheel-3.stl")
    expect(page.locator("main")).to_contain_text("every check passes", timeout=CHECK_MS)
    submission = int(re.search(r"/submissions/(\d+)/", page.url).group(1))
    page.get_by_role("button", name=re.compile("^Hand in")).first.click()
    expect(page.locator("main")).to_contain_text("Your teacher looks at it next")
    return submission


def approve(page: Page, submission: int) -> None:
    page.goto(f"/review/{submission}/")
    expect(page.locator("main")).to_contain_text("every check passes")
    page.get_by_role("button", name=re.compile("^Approve A?$|^Approve$")).first.click()
    page.wait_for_load_state()
    page.goto("/queue/")
    expect(page.locator("#queue")).to_contain_text("Team 1")


def take_file(page: Page, plate: int) -> None:
    """Download the arranged plate and read it again with our own reader."""
    page.goto(f"/plates/{plate}/")
    shown = page.locator("main tbody tr").count()
    for kind in ("3MF", "STL"):
        with page.expect_download() as download:
            page.get_by_role("button", name=f"Take {kind}").click()
        with open(download.value.path(), "rb") as file:
            _, topology = repair(read_mesh(file.read(), "plate"), Unit.MILLIMETRE)
        assert topology.watertight
        assert topology.bodies == shown
        page.goto(f"/plates/{plate}/")


def lose_one(demo: Demo, page: Page, plate: int, submission: int) -> None:
    """Mark one copy of the submission lost, the others good."""
    open_run(page, plate)
    lost = next(copy for copy, _, on in copies(demo, submission) if on == plate)
    page.locator(f"input[name=lost][value='{lost}']").check()
    page.get_by_label("Warped").check()
    tick_all(page, "form[action$='/clear/']")
    others = page.locator("input[name=lost]").count() - 1
    page.get_by_role("button", name=re.compile("^Save" if others else "^All failed")).click()
    page.wait_for_load_state()
    state = {copy: state for copy, state, _ in copies(demo, submission)}
    assert state[lost] in {"waiting", "planned"}


def print_the_rest(demo: Demo, page: Page, submission: int) -> None:
    for _ in range(8):
        if all(state == "in_tray" for _, state, _ in copies(demo, submission)):
            return
        plate = wait_for_plate(demo, submission)
        if not start(page, plate):
            continue
        open_run(page, plate)
        tick_all(page, "form[action$='/clear/']")
        page.get_by_role("button", name="All good").click()
        page.wait_for_load_state()
