"""Staff through the school's own service: a real OpenID Connect provider (django-oauth-toolkit, PyPI) and the site as
processes on loopback. What the site kept is asked of its database by plain SQL."""

from __future__ import annotations

import re
import subprocess
import sys
from collections.abc import Iterator
from urllib.parse import parse_qs, urlsplit

import pyotp
import pytest

from tests.faults.crews import ROOT
from tests.sign_in_service.running import NAME, Browser, School, school_with_service
from tests.world import PASSWORD

pytestmark = pytest.mark.slow


def known(email: str, verified: object = True) -> dict[str, object]:
    return {"email": email, "email_verified": verified}


# one account for each test, so that none waits for another
SERVICE = {
    name: known(f"{name}@school.example")
    for name in ("quill", "rook", "sage", "thorn", "umber", "vale", "wren", "yarrow", "stranger", "holly", "iris")
}
SERVICE |= {"reed": known("reed@school.example", False), "second_sage": known("SAGE@school.example")}
SERVICE |= {"moss": known("moss@school.example", "true")}


@pytest.fixture(scope="module")
def school(tmp_path_factory: pytest.TempPathFactory) -> Iterator[School]:
    with school_with_service(tmp_path_factory.mktemp("sso"), SERVICE) as running:
        yield running


@pytest.fixture(scope="module")
def administrator(school: School) -> Browser:
    browser = Browser(school)
    browser.by_password("administrator")
    assert browser.is_in()
    return browser


def teacher(administrator: Browser, name: str, known_as: str | None = None) -> str:
    """A member of staff the service knows by the address ``name@school.example``. Returns the password on paper."""
    password = administrator.add(name)
    administrator.connect(name, known_as or f"{name}@school.example")
    return password


def test_the_button_leads_to_the_service_and_back_to_the_page_that_was_wanted(school, administrator):
    teacher(administrator, "quill", " Quill@School.Example ")
    browser = Browser(school)
    assert f"Sign in with {NAME}" in browser.get("/sign-in/").text
    page = browser.by_service("quill", wanted="/lessons/")
    assert (page.status_code, urlsplit(page.url).path) == (200, "/lessons/")
    assert "Quill" in page.text
    assert school.events("quill") == [{"by_service": True}]


def test_the_library_keeps_nothing(school, administrator):
    teacher(administrator, "rook")
    Browser(school).by_service("rook")
    assert school.events("rook") == [{"by_service": True}]
    tables = ("account_emailaddress", "account_emailconfirmation", "socialaccount_socialaccount",
              "socialaccount_socialapp", "socialaccount_socialtoken")  # fmt: skip
    assert {table: school.site.count(table) for table in tables} == dict.fromkeys(tables, 0)


def test_the_question_has_state_proof_key_and_asks_who_it_is_each_time(school):
    """RFC 7636 (PKCE, S256); prompt=login: OpenID Connect Core 1.0, 3.1.2.1."""
    browser = Browser(school)
    asked = [browser.get("/sign-in/school/", allow_redirects=False).headers["Location"] for _time in range(2)]
    told = [{name: values[0] for name, values in parse_qs(urlsplit(one).query).items()} for one in asked]
    assert asked[0].startswith(f"{school.issuer}/authorize/?")
    assert told[0]["redirect_uri"] == f"{school.address}/sign-in/school/return/"
    assert (told[0]["response_type"], told[0]["prompt"], told[0]["code_challenge_method"]) == ("code", "login", "S256")
    assert told[0]["state"] != told[1]["state"]
    assert told[0]["code_challenge"] != told[1]["code_challenge"]


def test_who_was_not_entered_gets_in_nowhere_and_nobody_is_made(school):
    before = school.site.count("accounts_user")
    browser = Browser(school)
    page = browser.by_service("stranger")
    assert urlsplit(page.url).path == "/sign-in/"
    assert "stranger@school.example" in page.text
    assert not browser.is_in()
    assert school.site.count("accounts_user") == before


def test_an_address_the_service_has_not_verified_opens_nothing_and_its_name_for_the_person_does(school, administrator):
    teacher(administrator, "reed")
    browser = Browser(school)
    page = browser.by_service("reed")
    assert not browser.is_in()
    told = re.search(r"administrator: (\S+?)<", page.text)
    assert told
    assert told[1] != "reed@school.example"
    administrator.connect("reed", told[1])
    again = Browser(school)
    again.by_service("reed")
    assert again.is_in()


def test_verified_in_letters_counts(school, administrator):
    teacher(administrator, "moss")
    browser = Browser(school)
    browser.by_service("moss")
    assert browser.is_in()


def test_an_address_given_to_somebody_else_opens_nothing_until_it_is_entered_anew(school, administrator):
    teacher(administrator, "sage")
    first, second, third = Browser(school), Browser(school), Browser(school)
    first.by_service("sage")
    second.by_service("second_sage")
    assert (first.is_in(), second.is_in()) == (True, False)
    administrator.connect("sage", "sage@school.example")
    third.by_service("second_sage")
    assert (first.is_in(), third.is_in()) == (False, True), "what was entered before ends with its sessions"


def test_a_password_on_paper_need_not_be_changed_by_who_never_uses_it(school, administrator):
    password = teacher(administrator, "thorn")
    by_service, by_paper = Browser(school), Browser(school)
    by_service.by_service("thorn")
    by_paper.by_password("thorn", password)
    assert by_service.get("/lessons/").url.endswith("/lessons/")
    assert by_paper.get("/lessons/").url.endswith("/password/")


def test_an_administrators_second_step_is_asked_for(school, administrator):
    password = administrator.add("umber", "administrator")
    administrator.connect("umber", "umber@school.example")
    own = Browser(school)
    own.by_service("umber")
    key = re.search(r'<code class="break">(\w+)</code>', own.get("/second-step/").text)
    assert key
    page = own.post("/second-step/", {"code": pyotp.TOTP(key[1]).now()})
    paper = re.findall(r'told-once">([a-z2-9-]{19})<', page.text)
    assert len(paper) == 10
    browser = Browser(school)
    page = browser.by_service("umber", wanted="/people/")
    assert urlsplit(page.url).path == "/sign-in/code/"
    assert not browser.is_in()
    assert browser.post("/sign-in/code/", {"code": "000000"}).status_code == 422
    assert not browser.is_in()
    page = browser.post("/sign-in/code/", {"code": paper[0]})
    assert urlsplit(page.url).path == "/people/"
    assert school.events("umber") == [{"by_service": True}, {"second_step": True, "by_service": True}]
    assert password not in page.text


def test_locked_out_people_get_in_by_no_door(school, administrator):
    teacher(administrator, "vale")
    inside, outside = Browser(school), Browser(school)
    inside.by_service("vale")
    assert inside.is_in()
    administrator.post(f"/people/{school.number('vale')}/lock-out/", {})
    outside.by_service("vale")
    assert (inside.is_in(), outside.is_in()) == (False, False)


def test_ten_wrong_passwords_lock_the_password_and_not_the_service(school, administrator):
    teacher(administrator, "wren")
    browser = Browser(school)
    statuses = [browser.by_password("wren", "a wrong password").status_code for _time in range(11)]
    assert statuses[-1] == 429
    browser.by_service("wren")
    assert browser.is_in()


def test_after_signing_out_the_service_asks_again_though_it_still_knows_the_machine(school, administrator):
    teacher(administrator, "yarrow")
    browser = Browser(school)
    browser.by_service("yarrow")
    browser.post("/sign-out/", {})
    assert not browser.is_in()
    form = browser.to_the_service()
    assert 'type="password"' in form.text
    assert not browser.is_in()


def test_an_answer_opens_once_and_only_where_it_was_asked_for(school, administrator):
    teacher(administrator, "holly")
    victim, thief = Browser(school), Browser(school)
    at_the_service = victim.enter_there(victim.to_the_service(), "holly", allow_redirects=False)
    to_us = victim.http.get(f"http://localhost:{urlsplit(school.issuer).port}{at_the_service.headers['Location']}",
                            allow_redirects=False).headers["Location"]  # fmt: skip
    assert "code=" in to_us
    page = thief.http.get(to_us)
    assert (urlsplit(page.url).path, thief.is_in()) == ("/sign-in/", False)
    assert "another window" in page.text
    victim.http.get(to_us)
    assert victim.is_in()
    victim.post("/sign-out/", {})
    victim.http.get(to_us)
    assert not victim.is_in()


def test_stopping_at_the_service_is_told(school):
    browser = Browser(school)
    asked = browser.get("/sign-in/school/", allow_redirects=False).headers["Location"]
    state = parse_qs(urlsplit(asked).query)["state"][0]
    page = browser.get("/sign-in/school/return/", params={"state": state, "error": "access_denied"})
    assert "stopped on the other page" in page.text
    assert not browser.is_in()


@pytest.mark.parametrize(
    ("how", "told"),
    [
        ("nothing", "does not answer"),
        ("issuer", "cannot be used"),
    ],
)
def test_a_service_that_is_away_or_another_one_is_told_and_passwords_still_open(school, how, told):
    browser = Browser(school)
    with school.twisted(how):
        page = browser.to_the_service()
        assert urlsplit(page.url).path == "/sign-in/"
        assert told in page.text
        browser.by_password("technician")
        assert "/sign-in/" not in browser.get("/bench/").url


@pytest.mark.parametrize("how", ["keys", "subject", "issuer", "late", "audience"])
def test_an_answer_that_is_not_the_services_own_opens_nothing(school, administrator, how):
    """A token nobody of the service signed; two answers about two people; another issuer; a token that is over; one for
    another site."""
    administrator.add(f"iris_{how}")
    administrator.connect(f"iris_{how}", "iris@school.example")
    browser = Browser(school)
    form = browser.to_the_service()
    with school.twisted(how):
        page = browser.enter_there(form, "iris")
    assert "cannot be used" in page.text
    assert not browser.is_in()
    assert school.events(f"iris_{how}") == []
    administrator.connect(f"iris_{how}", "")


def of_the_site(school: School, *command: str, off: bool = False) -> subprocess.CompletedProcess[str]:
    values = {name: value for name, value in school.site.values.items() if not (off and "_OIDC_" in name)}
    return subprocess.run([sys.executable, "manage.py", *command], cwd=ROOT, env=values, capture_output=True,
                          text=True, check=False)  # fmt: skip


def test_the_doctor_says_whether_the_service_answers(school):
    assert "the school's sign-in service answers" in of_the_site(school, "doctor").stdout
    with school.twisted("nothing"):
        assert "sign-in service: it does not answer (HTTPError)" in of_the_site(school, "doctor").stdout


def test_turned_off_again_the_database_is_of_no_newer_release(school):
    """The library's empty tables stay."""
    done = of_the_site(school, "upgrade", off=True)
    assert done.returncode == 0, done.stdout + done.stderr
    shown = of_the_site(school, "config")
    assert "MAKERLAB_OIDC_ISSUER" in shown.stdout
    assert "what the site and the service share" not in shown.stdout
    assert PASSWORD not in shown.stdout
