"""A teacher in August: a lesson written from nothing, a class brought in, the lesson given, the week before lab day.

What is clicked is what teachers click. Everything made here has names of its own, so that no other test meets it.
"""

from __future__ import annotations

import re
import time
import urllib.request
from collections.abc import Iterator
from datetime import date, timedelta
from pathlib import Path

import icalendar
import pytest
from playwright.sync_api import Browser, Page, expect

from tests.browser.conftest import ROOT, Demo, Desk, open_desk
from tests.lessons.rosters import packages as build

pytestmark = [pytest.mark.browser, pytest.mark.slow]
WHEEL = ROOT / "demo_fixtures" / "meshes" / "kit" / "wheel.stl"
MEASURED_MS = 60_000
STUDENTS = ("Wilma", "Ugo", "Xeno", "Yara", "Zeno", "Vito", "Tilda")


@pytest.fixture
def desk(demo: Demo, browser: Browser) -> Iterator[Desk]:
    teacher = open_desk(browser, demo, "teacher")
    teacher.page.context.grant_permissions(["clipboard-read", "clipboard-write"])
    teacher.page.set_default_timeout(60_000)
    yield teacher
    refused = "the server responded with a status of 422"  # asked for: what is lacking is said in place
    assert [line for line in teacher.complaints if refused not in line] == []
    teacher.page.context.close()


def press(page: Page, name: str, inside: str = "main") -> None:
    page.locator(inside).get_by_role("button", name=name, exact=True).first.click()


def follow(page: Page, name: str) -> None:
    page.locator("main").get_by_role("link", name=name, exact=True).first.click()


# A lesson from nothing --------------------------------------------------------------------------------------------


def test_a_lesson_is_written_its_kit_made_copied_exported_and_brought_in_again(desk: Desk, tmp_path: Path):
    page, stamp = desk.page, f"{time.time():.0f}"
    title = f"Kite reel {stamp}"
    begin(page, title)
    write(page)
    plan = save(page)
    expect(page.locator("main")).to_contain_text("Wind in four metres of line")
    caution = page.locator("main").inner_text().rindex("The nozzle and the bed burn")
    assert caution < page.locator("main").inner_text().index("Print the reel"), "the caution stands before its step"
    add_part(page, plan)
    copy_and_adapt(page, plan, f"Kite reel, short {stamp}")
    package = export(page, plan, tmp_path)
    bring_in(page, package, f"Kite reel, from a package {stamp}")


def begin(page: Page, title: str) -> None:
    page.goto("/plans/new/")
    press(page, "Begin")
    expect(page.locator(".error").first).to_be_visible()  # without a name nothing is made
    page.get_by_label("Name of the lesson").fill(title)
    press(page, "Begin")
    expect(page.locator("h1")).to_contain_text("Edit the lesson")


def write(page: Page) -> None:
    """Fields and rows; the preview beside them follows what is typed, and says what the minutes come to."""
    page.locator("[name=summary]").fill("Teams wind in a line with reels of three sizes.")
    expect(page.locator("#preview")).to_contain_text("Teams wind in a line with reels of three sizes.")
    page.locator("[name=grade_band]").fill("6-8")
    page.locator("[name=meetings_count]").fill("1")
    page.locator("[name=meeting_minutes]").fill("50")
    add(page, "objectives", text="Time how long four metres take.")
    add(page, "standards", code="MS-PS2-2")
    page.locator("#fill-standards-0").click()
    expect(page.locator("[name=standards-0-text]")).not_to_have_value("")
    add(page, "steps", meeting="1", minutes="30", title="Print the reel", text="Watch the first layer.")
    page.locator("[name=steps-0-kind]").select_option(label="at the printers")
    page.evaluate(SEEN_AT_ONCE)
    add(page, "steps", minutes="15", title="Wind", text="Wind in four metres of line.")
    assert page.evaluate("window.seenAtOnce") == "Print the reel"
    expect(page.locator("#preview")).to_contain_text("steps take 45 min, 5 min of 50 min are left")
    expect(page.locator("#preview")).to_contain_text("The nozzle and the bed burn")
    page.locator("[name=steps-1-minutes]").fill("20")
    expect(page.locator("#preview")).to_contain_text("The minutes add up")
    page.locator("#up-steps-1").click()
    expect(page.locator("[name=steps-0-title]")).to_have_value("Wind")
    page.locator("#down-steps-0").click()
    expect(page.locator("[name=steps-1-title]")).to_have_value("Wind")


# What stands in the first step's title the moment after rows were put in place: nobody must be able to send less.
SEEN_AT_ONCE = """() => document.addEventListener("htmx:afterSwap", () => setTimeout(() => {
  window.seenAtOnce ??= document.querySelector("[name=steps-0-title]").value;
}))"""


def add(page: Page, part: str, **cells: str) -> None:
    rows = page.locator(f"[name={part}-rows]")
    count = int(rows.input_value())
    page.locator(f"#add-{part}").click()
    expect(rows).to_have_value(str(count + 1))
    for name, text in cells.items():
        page.locator(f"[name={part}-{count}-{name}]").fill(text)


def save(page: Page) -> int:
    press(page, "Save")
    page.wait_for_url(re.compile(r"/lessons/\d+/$"))
    return int(page.url.rstrip("/").rpartition("/")[2])


def add_part(page: Page, plan: int) -> None:
    """The kit's wheel has a hole of 3.2 mm (lessons.parts.wheel): that is proposed, and asked only once confirmed."""
    page.goto(f"/plans/{plan}/kit/")
    page.get_by_label("Name of the part").fill("Reel")
    page.locator("input[type=file]").set_input_files(str(WHEEL))
    press(page, "Add the part")
    expect(page.locator("h1")).to_have_text("Reel")
    expect(page.locator("#measured")).to_contain_text("Look at it", timeout=MEASURED_MS)
    page.reload()
    expect(page.locator("#gauge").locator("xpath=ancestor::section")).to_contain_text("only proposed")
    assert page.get_by_label("Hole, diameter", exact=True).input_value() == "3.2"
    page.get_by_role("link", name=re.compile("^Hole of 3.20 mm")).click()
    press(page, "Confirm")
    expect(page.locator("#gauge").locator("xpath=ancestor::section")).to_contain_text("confirmed")
    expect(page.locator("main")).not_to_contain_text("only proposed")


def copy_and_adapt(page: Page, plan: int, title: str) -> None:
    page.goto(f"/lessons/{plan}/")
    follow(page, "Copy and adapt")
    page.get_by_label("Name of the lesson").fill(title)
    press(page, "Copy it")
    expect(page.locator("[name=steps-0-title]")).to_have_value("Print the reel")
    page.locator("[name=summary]").fill("Only one reel.")
    copied = save(page)
    assert copied != plan
    expect(page.locator("main")).to_contain_text("Adapted from")
    expect(page.locator("main")).to_contain_text("Reel")
    page.goto(f"/lessons/{plan}/")
    expect(page.locator("main")).to_contain_text("three sizes")


def export(page: Page, plan: int, folder: Path) -> Path:
    page.goto(f"/lessons/{plan}/")
    with page.expect_download() as download:
        follow(page, "Export")
    package = folder / "lesson.zip"
    download.value.save_as(package)
    return package


def bring_in(page: Page, package: Path, title: str) -> None:
    page.goto("/plans/from-package/")
    page.locator("input[type=file]").set_input_files(str(package))
    press(page, "Look into it")
    expect(page.locator("main")).to_contain_text("Not saved yet")
    expect(page.locator("main")).to_contain_text("hole of 3.20 mm")
    page.locator("[name=title]").fill(title)
    press(page, "Save this lesson")
    expect(page.locator("h1")).to_have_text(title)
    expect(page.locator("main")).to_contain_text("Wind in four metres of line")


# A class, and the lesson given to it ------------------------------------------------------------------------------


def test_a_class_is_brought_in_gets_a_lesson_and_is_got_ready(desk: Desk, demo: Demo, tmp_path: Path):
    page = desk.page
    name = f"9Z {time.time():.0f}"
    pk = make_class(page, name)
    paste(page, pk)
    three_ways_to_teams(page, pk)
    print_cards(page, pk)
    add_meeting(page, pk)
    give(page, pk, name)
    meeting = move_meeting(page, pk)
    get_ready(page, meeting, name)
    read_calendar(page, demo, name)


def test_a_package_of_the_schools_system_is_looked_at_and_brought_in_twice(desk: Desk, tmp_path: Path):
    """Keys of its own, so that the class is new the first time; the second time nothing is doubled."""
    page, stamp = desk.page, f"{time.time():.0f}"
    members = {name: data.replace(b"c-1", f"c-{stamp}".encode()) for name, data in build.files("1.2").items()}
    package = tmp_path / "rolls.zip"
    package.write_bytes(build.packed(members))
    card = look_into(page, package)
    expect(card).to_contain_text("a new class")
    expect(card).to_contain_text("3 new, 0 as they are, 0 no longer listed")
    card.get_by_label("Name here").fill(f"Rolls {stamp}")
    card.locator("input[type=checkbox]").check()
    press(page, "Bring in the ticked classes")
    follow(page, f"Rolls {stamp}")
    expect(page.locator("main")).to_contain_text("Pip A.")
    assert all(secret not in page.content() for secret in build.SECRETS)
    card = look_into(page, package)
    expect(card).to_contain_text("brings this class up to date")
    expect(card).to_contain_text("0 new, 3 as they are, 0 no longer listed")


def look_into(page: Page, package: Path):
    """The card of Science 7B in what the package would bring."""
    page.goto("/classes/from-package/")
    page.locator("input[type=file]").set_input_files(str(package))
    press(page, "Show its classes")
    return page.locator("main li.card").filter(has_text=re.compile("Science 7B|Rolls"))


def make_class(page: Page, name: str) -> int:
    page.goto("/classes/new/")
    page.get_by_label("Name", exact=True).fill(name)
    press(page, "Make the class")
    page.wait_for_url(re.compile(r"/classes/\d+/"))
    return int(re.search(r"/classes/(\d+)/", page.url).group(1))


def paste(page: Page, pk: int) -> None:
    page.goto(f"/classes/{pk}/list/")
    page.locator("textarea").fill("\n".join([*STUDENTS, "wilma@school.invalid"]))
    press(page, "Show what would change")
    expect(page.locator("main")).to_contain_text("looks like an e-mail address")
    expect(page.locator("main .measures")).to_contain_text("7")
    press(page, "Save")
    expect(page.locator("h1")).to_be_visible()
    for nickname in STUDENTS:
        expect(page.get_by_role("link", name=nickname, exact=True)).to_be_visible()


def three_ways_to_teams(page: Page, pk: int) -> None:
    """By lot, parting who is together, and by hand; the sizes of seven students in teams of at most three."""
    for rule in ("Drawn by lot", "Mixed: by lot, parting who is together now"):
        page.goto(f"/classes/{pk}/teams/")
        page.locator("[name=rule]").first.select_option(label=rule)
        page.locator("[name=team_size]").first.fill("3")
        press(page, "Show teams")
        shown = page.locator("#proposal .team-grid > li")
        expect(shown).to_have_count(3)
        sizes = sorted(len(text.split("\n")[-1].split(", ")) for text in shown.all_inner_texts())
        assert sizes == [2, 2, 3]
        press(page, "Save these teams")
        page.wait_for_load_state()
    page.goto(f"/classes/{pk}/teams/")
    choose = page.locator(".placing").filter(has_text=STUDENTS[0]).locator("select")
    other = choose.locator("option:not(:checked)").nth(1)
    wanted = other.inner_text()
    choose.select_option(label=wanted)
    press(page, "Save teams")
    page.goto(f"/classes/{pk}/")
    row = page.get_by_role("row").filter(has_text=STUDENTS[0])
    expect(row).to_contain_text(wanted.split(",")[0].strip())


def print_cards(page: Page, pk: int) -> None:
    page.goto(f"/classes/{pk}/cards/")
    press(page, "Make the cards")
    expect(page.locator("main svg").first).to_be_visible(timeout=30_000)
    for nickname in STUDENTS:
        expect(page.locator("main")).to_contain_text(nickname)
    assert page.pdf().startswith(b"%PDF")


def add_meeting(page: Page, pk: int) -> None:
    """On a date by itself: three weeks ahead are clear of the demo's holidays."""
    page.goto(f"/classes/{pk}/meetings/")
    page.locator("[name=period]").first.select_option("Period 4")
    first, last = monday(2), monday(2) + timedelta(days=4)
    page.locator("[name=first]").first.fill(first.isoformat())
    page.locator("[name=last]").first.fill(last.isoformat())
    page.locator("[name=purpose]").first.fill("load your own hull")
    for tick in page.locator("[name=weekdays]").all():
        tick.set_checked(tick.get_attribute("value") in {"2", "3"})
    press(page, "Show the dates")
    press(page, "Add these meetings")
    expect(page.locator("main")).to_contain_text("load your own hull")


def monday(weeks: int) -> date:
    today = date.today()
    return today - timedelta(days=today.weekday()) + timedelta(weeks=weeks)


def give(page: Page, pk: int, name: str) -> None:
    """What it costs comes first: one hull for each of three teams, and no spares of a part that teams redraw."""
    page.goto("/lessons/")
    follow(page, "Cargo hull")
    follow(page, "Give to classes")
    press(page, "Give it")
    expect(page.locator("main")).to_contain_text("Choose at least one class")
    page.get_by_label(name, exact=True).check()
    press(page, "What does it cost the room?")
    takes = page.locator("dl.takes")
    expect(takes).to_be_visible(timeout=30_000)
    figures = dict(zip(takes.locator("dt").all_inner_texts(), takes.locator("dd").all_inner_texts(), strict=True))
    assert figures["Copies"].startswith("3")
    assert figures["Filament"].startswith("7")  # three hulls of some 26 g each
    choices = page.get_by_role("region", name="What each choice would move")
    expect(choices).to_contain_text("teams of 2", timeout=60_000)
    expect(choices).to_contain_text("teams of 4")
    press(page, "Give it")
    page.wait_for_url(re.compile("/classes/"))
    page.goto(f"/classes/{pk}/")
    expect(page.locator("main")).to_contain_text("Cargo hull")


def move_meeting(page: Page, pk: int) -> int:
    """A week later: the page says what follows before it is done."""
    page.goto(f"/classes/{pk}/")
    page.get_by_role("row").filter(has_text="Cargo hull").first.get_by_role("link").first.click()
    expect(page.locator("main")).to_contain_text("Move it")
    meeting = int(re.search(r"/meetings/(\d+)/", page.url).group(1))
    later = monday(4)
    page.locator("[name=day]").first.fill(later.isoformat())
    page.locator("[name=period]").first.select_option("Period 4")
    press(page, "Show what that does")
    told = page.locator("#worked-out")
    expect(told).to_contain_text("Cargo hull: files may come in until")
    press(page, "Move the meeting")
    page.goto(f"/meetings/{meeting}/")
    expect(page.locator("h1")).to_contain_text(f"{later.day} {later:%b}")
    return meeting


def get_ready(page: Page, meeting: int, name: str) -> None:
    page.goto(f"/meetings/{meeting}/readiness/")
    expect(page.locator("main .measures")).to_contain_text("designs handed in")
    expect(page.locator("main")).to_contain_text("no file yet")
    reminder = page.get_by_label("Who is missing what")
    assert "Hull" in reminder.input_value()
    press(page, "Copy the text")
    expect(page.locator("[role=status]").filter(has_text="Copied.")).to_be_visible()
    assert page.evaluate("navigator.clipboard.readText()") == reminder.input_value()
    page.goto(f"/readiness/?week={monday(4).isoformat()}")
    expect(page.get_by_role("row").filter(has_text=name)).to_contain_text("0 of 3")
    page.goto(f"/meetings/{meeting}/hand-out/")
    expect(page.locator("main tbody tr")).to_have_count(3)
    expect(page.locator("main")).to_contain_text("Hull: 0 of 1")


def read_calendar(page: Page, demo: Demo, name: str) -> None:
    """Fetched without a session and read by the icalendar package: the class's meeting on its new date."""
    page.goto("/calendar/")
    page.locator("#make-feed").click()
    address = page.locator("#feed-address").input_value()
    with urllib.request.urlopen(address, timeout=20) as answer:
        feed = icalendar.Calendar.from_ical(answer.read())
    events = [event for event in feed.walk("VEVENT") if name in str(event.get("SUMMARY"))]
    assert events
    assert len({str(event["UID"]) for event in events}) == len(events)
    days = {getattr(event.decoded("DTSTART"), "date", lambda: None)() for event in events}
    assert monday(4) in days
    assert all(nickname not in feed.to_ical().decode() for nickname in STUDENTS)
