"""What holds for every page: headers, login, navigation, templates without inline code, the template linter."""

import re
import subprocess
import sys
from html.parser import HTMLParser
from pathlib import Path

import pytest
from django.conf import settings as django_settings
from django.test import Client
from django.urls import URLPattern, get_resolver, reverse

from makerlab.context import PLACES

ROOT = Path(django_settings.BASE_DIR)
TEMPLATES = sorted(
    path
    for folder in ("makerlab", "lessons", "queue")
    for path in (ROOT / folder).rglob("*.html")
    if "templates" in path.parts
)
OPEN_PAGES = {"accounts:sign-in", "accounts:sign-in-demo", "accounts:sign-out", "lessons:student-sign-in", "language"}
OPEN_PAGES |= {"offline-worker"}  # a script without anything about anybody
TURNED_OFF = {"accounts:single-sign-on", "accounts:single-sign-on-return"}  # test_single_sign_on.py turns it on

BY_TOKEN = {"printing:calendar-feed"}  # asked by calendar programs, which have no session


def named_patterns(resolver=None, space: str = ""):
    for entry in (resolver or get_resolver()).url_patterns:
        if isinstance(entry, URLPattern):
            yield f"{space}{entry.name}", entry
        else:
            yield from named_patterns(entry, f"{entry.namespace}:" if entry.namespace else space)


PATTERNS = dict(named_patterns())


def address(name: str) -> str:
    converters = PATTERNS[name].pattern.converters
    return reverse(name, kwargs={key: 1 if "Int" in type(value).__name__ else "x" for key, value in converters.items()})


# --- headers ---------------------------------------------------------------------------------------------------------


@pytest.mark.django_db
@pytest.mark.parametrize("path", ["/sign-in/", "/sign-in/student/", "/nowhere/", "/lessons/", "/styleguide/"])
def test_headers_of_every_answer(world, signed_in, path):
    for client in (Client(), signed_in(world.teacher)):
        response = client.get(path)
        policy = response["Content-Security-Policy"]
        assert "unsafe" not in policy
        assert "default-src 'none'" in policy
        assert "script-src 'self'" in policy
        assert "frame-ancestors 'none'" in policy
        assert "http" not in policy
        assert response["X-Content-Type-Options"] == "nosniff"
        assert response["X-Frame-Options"] == "DENY"
        assert response["Referrer-Policy"] == "same-origin"


@pytest.mark.django_db
def test_sign_in_pages_are_never_kept_by_a_browser(client):
    for path in ("/sign-in/", "/sign-in/student/"):
        assert "no-store" in client.get(path)["Cache-Control"]


@pytest.mark.django_db
def test_cookies_are_closed_to_scripts_and_other_sites(world, client):
    response = client.post("/sign-in/", {"username": "teacher", "password": "three wooden wheels"})
    for name in ("makerlab_session", "makerlab_csrf"):
        cookie = response.cookies[name]
        assert cookie["httponly"]
        assert cookie["samesite"] == "Lax"


# --- login -----------------------------------------------------------------------------------------------------------


@pytest.mark.django_db
@pytest.mark.parametrize("name", sorted(PATTERNS))
def test_every_page_but_the_sign_in_needs_a_login(world, name):
    if name in OPEN_PAGES:
        assert Client().get(address(name)).status_code in {200, 405}
        return
    if name in TURNED_OFF:
        assert Client().get(address(name)).status_code == 404
        return
    if name in BY_TOKEN:
        assert Client().get(address(name)).status_code == 404, "a token nobody was given"
        return
    if name.startswith("api:"):  # for programs: a token opens it, and its description is open
        assert Client().get(address(name)).status_code == (200 if name == "api:openapi-json" else 401)
        assert Client().post(address(name)).status_code == (405 if name == "api:openapi-json" else 401)
        return
    # the second step begins at the first: there is no way back to a code without a password
    back = "/sign-in/" if name == "accounts:sign-in-code" else "/sign-in/?next="
    for method in ("get", "post"):
        response = getattr(Client(), method)(address(name))
        assert response.status_code == 302, f"{method} {name}"
        assert response["Location"].startswith(back)


# --- navigation ------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("role", PLACES)
def test_every_place_of_the_navigation_exists(role):
    for place in PLACES[role]:
        assert reverse(place.url_name)
        assert all(name in PATTERNS for name in place.also)


@pytest.mark.django_db
@pytest.mark.parametrize("who", ["student", "teacher", "technician", "administrator"])
def test_navigation_shows_where_one_is_and_who_one_is(world, signed_in, who):
    person = getattr(world, who)
    page = signed_in(person).get("/lessons/", follow=True).content.decode()
    assert page.count('aria-current="page"') == 1
    assert "Alderwick School" in page
    assert person.display_name in page
    assert ("Team 1, 7B" in page) == (who == "student")
    assert 'action="/sign-out/"' in page


@pytest.mark.django_db
def test_review_badge_counts_only_what_this_teacher_may_decide(world, signed_in):
    from submissions.models import Submission

    for team, version in ((world.team, 1), (world.second_team, 1), (world.far_team, 1)):
        Submission.objects.create(
            assignment=world.assignment, kit_part=world.wheel, team=team, version=version, state="handed_in", sha256="0"
        )
    badge = re.compile(r'<b class="badge">(\d+)')
    assert badge.findall(signed_in(world.teacher).get("/lessons/").content.decode()) == ["2"]
    assert badge.findall(signed_in(world.far_teacher).get("/lessons/").content.decode()) == ["1"]
    assert badge.findall(signed_in(world.other_teacher).get("/lessons/").content.decode()) == []


# --- error pages and style guide --------------------------------------------------------------------------------


@pytest.mark.django_db
def test_not_found_has_our_look_and_names_no_path(world, signed_in):
    response = signed_in(world.student).get("/nowhere/")
    page = response.content.decode()
    assert response.status_code == 404
    assert 'class="masthead"' in page
    assert "nowhere" not in page


@pytest.mark.django_db
def test_csrf_failure_is_told_in_plain_words(world):
    client = Client(enforce_csrf_checks=True)
    response = client.post("/sign-in/", {"username": "teacher", "password": "x"})
    assert response.status_code == 403
    assert "too old" in response.content.decode()


@pytest.mark.django_db
def test_server_error_page_stands_alone(world, monkeypatch):
    def broken(*args, **kwargs):
        raise RuntimeError("a secret")

    monkeypatch.setattr("makerlab.styleguide.context", broken)
    client = Client(raise_request_exception=False)
    client.force_login(world.teacher)
    response = client.get("/styleguide/")
    page = response.content.decode()
    assert response.status_code == 500
    assert "Something broke on our side" in page
    assert "a secret" not in page


@pytest.mark.django_db
@pytest.mark.parametrize(("demo", "status"), [(False, 404), (True, 200)])
def test_style_guide_is_for_staff_and_in_the_demo_for_all(world, signed_in, settings, demo, status):
    settings.DEMO = demo
    assert signed_in(world.student).get("/styleguide/").status_code == status
    assert signed_in(world.technician).get("/styleguide/").status_code == 200


# --- templates -------------------------------------------------------------------------------------------------------


class InlineCode(HTMLParser):
    """Finds what our policy forbids: style and on* attributes, hx-on, script or style with text."""

    def __init__(self) -> None:
        super().__init__()
        self.found: list[str] = []

    def handle_starttag(self, tag, attrs):
        for name, value in attrs:
            if name == "style" or name.startswith(("on", "hx-on", "data-hx-on")):
                self.found.append(f"<{tag} {name}>")
            if name in {"href", "src", "action", "formaction"} and (value or "").strip().startswith(
                ("javascript:", "data:")
            ):
                self.found.append(f"<{tag} {name}={value}>")
        if tag == "style" or (tag == "script" and not any(name == "src" for name, _ in attrs)):
            self.found.append(f"<{tag}>")


def inline_code(source: str) -> list[str]:
    """What the policy forbids in one template; tags and variables are taken out first."""
    parser = InlineCode()
    parser.feed(re.sub(r"\{%.*?%\}|\{\{.*?\}\}|\{#.*?#\}", "", source, flags=re.DOTALL))
    return parser.found


@pytest.mark.parametrize("path", TEMPLATES, ids=lambda path: str(path.relative_to(ROOT)))
def test_templates_hold_no_inline_code(path):
    assert inline_code(path.read_text()) == []


def test_the_search_for_inline_code_finds_it():
    bad = '<p style="a"><a onclick="b"><b hx-on::load="c"><script>d</script><style></style><a href="javascript:e">'
    assert len(inline_code(bad)) == 6


@pytest.mark.parametrize("path", TEMPLATES, ids=lambda path: str(path.relative_to(ROOT)))
def test_every_form_that_posts_carries_the_token(path):
    for form in re.findall(r"<form\b.*?</form>", path.read_text(), flags=re.DOTALL):
        if re.search(r'method="post"', form):
            assert "csrf_input" in form or "csrf_token" in form


def test_static_files_ask_for_nothing_from_elsewhere():
    for path in [*ROOT.glob("*/static/**/*"), *ROOT.glob("queue/*/static/**/*"), *TEMPLATES]:
        if path.suffix in {".css", ".js", ".html", ".svg"}:
            text = path.read_text().replace("http://www.w3.org/2000/svg", "")
            assert not re.search(r"https?://|@import|url\((?!#)", text), path


def test_template_linter_is_content():
    command = [sys.executable, "-m", "djlint", "--lint", "--quiet", *map(str, TEMPLATES)]
    run = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, timeout=900, check=False)
    assert run.returncode == 0, run.stdout + run.stderr


@pytest.mark.django_db
def test_pages_are_light(world, signed_in):
    """Style sheets, scripts, icons and one page, uncompressed, without meshes: at most 150 kB (issue 8)."""
    page = signed_in(world.teacher).get("/lessons/").content
    links = set(re.findall(rb'(?:href|src)="/static/([^"#]+)', page))
    from django.contrib.staticfiles import finders

    sizes = {link.decode(): Path(finders.find(link.decode())).stat().st_size for link in links}
    assert sum(sizes.values()) + len(page) <= 150_000, sizes
