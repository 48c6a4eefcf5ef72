"""The way to the school's own sign-in service and back, in a real browser: no policy of a page and no cookie rule
stands in it, between two sites (127.0.0.1 and localhost)."""

from __future__ import annotations

import re
from collections.abc import Iterator

import pytest
from playwright.sync_api import Browser, expect

from tests.sign_in_service.running import NAME, THERE, School, school_with_service
from tests.sign_in_service.running import Browser as Cookies

pytestmark = [pytest.mark.browser, pytest.mark.slow]
LONGEST_MS = 90_000  # only a guard
ACCOUNT = {"quill": {"email": "quill@school.example", "email_verified": True}}


@pytest.fixture(scope="module")
def school(tmp_path_factory: pytest.TempPathFactory) -> Iterator[School]:
    with school_with_service(tmp_path_factory.mktemp("sso"), ACCOUNT) as running:
        yield running


def test_an_administrator_enters_a_teacher_who_then_signs_in_there(school: School, browser: Browser):
    cookies = Cookies(school)
    cookies.by_password("administrator")
    cookies.add("quill")
    desk = browser.new_context(base_url=school.address)
    desk.add_cookies(
        [{"name": one.name, "value": str(one.value), "url": school.address} for one in cookies.http.cookies]
    )
    people = desk.new_page()
    people.goto("/people/")
    row = people.get_by_role("listitem").filter(has_text="Quill")
    row.get_by_label("Quill").fill("quill@school.example")
    row.get_by_role("button", name="Save").click()
    said = people.get_by_text("Quill may sign in through the school's service.")
    expect(said).to_be_visible(timeout=LONGEST_MS)
    desk.close()

    context = browser.new_context(base_url=school.address)
    page = context.new_page()
    complaints: list[str] = []
    page.on("console", lambda message: complaints.append(message.text) if "Policy" in message.text else None)
    page.goto("/sign-in/?next=/lessons/")
    page.get_by_role("link", name=f"Sign in with {NAME}").click()
    expect(page).to_have_url(re.compile("^http://localhost:"), timeout=LONGEST_MS)
    page.get_by_label("Username").fill("quill")
    page.get_by_label("Password").fill(THERE)
    page.get_by_role("button", name="Enter").click()
    expect(page).to_have_url(f"{school.address}/lessons/", timeout=LONGEST_MS)
    expect(page.get_by_role("button", name="Sign out").first).to_be_attached()
    assert school.events("quill") == [{"by_service": True}]
    assert complaints == []
    context.close()
