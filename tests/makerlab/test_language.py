"""Every word on a page comes through gettext: pages are rendered in a pseudo-language that puts each text between
⟦ and ⟧, and what stands outside is either somebody's data or written into the code."""

from __future__ import annotations

import json
import os
import re
import shutil
import subprocess
import sys
from collections.abc import Iterator
from datetime import date
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import pytest
from django.apps import apps
from django.conf import settings
from django.db import models, transaction
from django.template import Context, Template
from django.test import Client
from django.urls import reverse
from django.utils import translation

from lessons.plans import cautions
from makerlab.components import figures
from tests.browser.conftest import ROOT
from tests.conftest import missing
from tests.makerlab.site_addresses import addresses, arguments, objects
from tests.world import World

pytestmark = pytest.mark.django_db
OPENED, CLOSED = "⟦", "⟧"
SPOKEN = {"title", "alt", "placeholder", "aria-label", "aria-description", "aria-roledescription", "aria-valuetext"}
SILENT = {"script", "style", "code", "template", "kbd", "samp"}
WORD = re.compile(r"[^\W\d_]{2,}")
# the same in every language: the names of units, of formats, of things that carry a name
NAMES = """
mm cm dm min ms kg mg lb oz kB MB Hz rpm mV kPa Wh kWh mm² cm² mm³ cm³ s² USD EUR PLA PETG ABS ASA TPU PVA STL OBJ MF
CSV JSON PDF SVG PNG XML QR ISO IEC NGSS MS ETS PS Makerlab ID OneRoster iCalendar UTC am pm Ctrl Esc Tab English
Español Deutsch http https testserver sign in student
"""
FOR_BUILDERS = {"styleguide"}  # sample content for those who build the pages


class Page(HTMLParser):
    """The words of a page that stand outside the pseudo-language's brackets."""

    def __init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self.silent = 0
        self.depth = 0
        self.outside: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        if tag in SILENT:
            self.silent += 1
        values = dict(attrs)
        spoken = [values[name] for name in SPOKEN & values.keys()]
        if tag == "input" and values.get("type") in {"submit", "button", "reset"}:
            spoken.append(values.get("value"))
        for value in spoken:
            self._hear(value or "", 0)

    def handle_endtag(self, tag: str) -> None:
        if tag in SILENT:
            self.silent -= 1

    def handle_data(self, data: str) -> None:
        if not self.silent:
            self.depth = self._hear(data, self.depth)

    def _hear(self, text: str, depth: int) -> int:
        heard = ""
        for letter in text:
            if letter == OPENED:
                depth += 1
                heard += " "
            elif letter == CLOSED:
                depth -= 1
                heard += " "
            elif depth == 0:
                heard += letter
        if WORD.search(heard):
            self.outside.append(" ".join(heard.split()))
        return depth


@pytest.fixture(autouse=True)
def _languages(settings) -> None:
    """German has a decimal comma and no catalogue of ours; Spanish as we write it has a point."""
    settings.LANGUAGES = [("en", "English"), ("es", "Español"), ("de", "Deutsch")]


@pytest.fixture
def pseudo(monkeypatch) -> None:
    """Every text that goes through gettext comes out between brackets."""
    trans = translation._trans  # type: ignore[attr-defined]

    def one(message: str) -> str:
        return f"{OPENED}{message}{CLOSED}" if message else message

    translation.gettext("")  # the functions are set on first use
    monkeypatch.setattr(trans, "gettext", one)
    monkeypatch.setattr(trans, "ngettext", lambda single, plural, n: one(single if n == 1 else plural))
    monkeypatch.setattr(trans, "pgettext", lambda context, message: one(message))
    monkeypatch.setattr(
        trans, "npgettext", lambda context, single, plural, n: one(single if n == 1 else plural), raising=False
    )


def words_of(value: Any) -> set[str]:
    if isinstance(value, str):
        return set(WORD.findall(value))
    if isinstance(value, dict):
        return set().union(*(words_of(each) for pair in value.items() for each in pair), set())
    if isinstance(value, list | tuple):
        return set().union(*map(words_of, value), set())
    return set()


def words_of_sources() -> set[str]:
    """Titles of what the cautions rest on: names, which nobody translates."""
    return words_of([row["source"] for row in cautions.STANDARD])


def words_of_data() -> set[str]:
    """Everything anybody has typed, and what is kept of files."""
    found: set[str] = set()
    for model in apps.get_models():
        names = [
            field.name
            for field in model._meta.concrete_fields
            if isinstance(field, models.CharField | models.TextField | models.JSONField | models.FileField)
            and not field.choices
        ]
        for row in model._base_manager.values_list(*names) if names else ():
            found |= words_of(json.loads(json.dumps(list(row), default=str)))
    return found


def pages(world: World, who: str, known: dict[str, Any], language: str = "en") -> Iterator[tuple[str, str]]:
    """Name and content of every page this person may see, in a language."""
    person = world.people()[who]
    for name, pattern in addresses():
        if name in FOR_BUILDERS:
            continue
        path = reverse(name, kwargs=arguments(name, pattern, world, known))
        with transaction.atomic():
            client = Client(headers={"accept-language": language})
            client.force_login(person)
            response = client.get(path)
            body = b"".join(response)
            transaction.set_rollback(True)
        if response.status_code == 200 and response["Content-Type"].startswith("text/html"):
            yield name, body.decode()


@pytest.mark.parametrize("who", ["student", "teacher", "technician", "administrator"])
def test_no_page_says_a_word_that_cannot_be_translated(world, settings, pseudo, who):
    settings.DEMO = False
    found: dict[str, list[str]] = {}
    shown = list(pages(world, who, objects(world), "es"))
    allowed = {word.casefold() for word in words_of_data() | words_of_sources() | set(NAMES.split())}
    for name, body in shown:
        page = Page()
        page.feed(body)
        said = sorted({text for text in page.outside if {word.casefold() for word in WORD.findall(text)} - allowed})
        if said:
            found[name] = said
    assert found == {}
    assert len(shown) > 5


class Figures(HTMLParser):
    """Attributes that machines read as numbers: drawings, number fields, data."""

    def __init__(self) -> None:
        super().__init__()
        self.found: list[tuple[str, str, int]] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        values = dict(attrs)
        for name, value in attrs:
            typed = name in {"value", "min", "max", "step", "datetime"} and values.get("type") != "hidden"
            if (name in DRAWN.split() or typed) and re.search(r"\d", value or ""):
                # figures may move with the clock between two requests: only the commas between digits are told
                self.found.append((tag, name, len(re.findall(r"(?<=\d),(?=\d)", value or ""))))


DRAWN = """x y x1 x2 y1 y2 cx cy r rx ry dx dy width height d points viewbox transform offset"""


@pytest.mark.parametrize("who", ["student", "teacher", "technician"])
def test_figures_for_machines_are_the_same_in_every_language(world, settings, who):
    """A decimal comma belongs in a sentence, never in a drawing or a number field."""
    settings.DEMO = False
    known = objects(world)
    in_english, with_commas = (dict(pages(world, who, known, language)) for language in ("en", "de"))
    assert in_english.keys() == with_commas.keys()
    differing = {}
    for name, body in in_english.items():
        one, other = Figures(), Figures()
        one.feed(body)
        other.feed(with_commas[name])
        changed = [pair for pair in zip(one.found, other.found, strict=True) if pair[0] != pair[1]]
        if changed:
            differing[name] = changed[:5]
    assert differing == {}


def test_a_language_is_chosen_once_and_kept(world, client):
    page = client.get("/sign-in/")
    assert '<html lang="en">' in page.text
    assert 'lang="es"' in page.text
    answer = client.post("/language/", {"language": "es"}, headers={"referer": "http://testserver/sign-in/"})
    assert (answer.status_code, answer.url) == (302, "http://testserver/sign-in/")
    assert '<html lang="es">' in client.get("/sign-in/").text
    assert client.post("/language/", {"language": "es", "next": "https://elsewhere.example/"}).url == "/"


def test_a_browser_that_prefers_a_language_gets_it_unasked(client, db):
    assert '<html lang="es">' in client.get("/sign-in/", headers={"accept-language": "es-MX,en;q=0.5"}).text
    assert '<html lang="en">' in client.get("/sign-in/", headers={"accept-language": "fi"}).text


def test_figures_in_spanish_have_a_decimal_point_and_dates_their_own_form(db):
    """CLDR 46, es-US and es-MX: decimal "."; a date in full has "de" before the month, a short one is small."""
    day = Template('{{ day|date:"D j M Y" }}')
    with translation.override("es"):
        assert figures.millimetres(12.5) == "12.5\u00a0mm"
        assert figures.long_day(date(2026, 11, 26)) == "Jueves 26 de noviembre"
        assert figures.short_day(date(2026, 11, 26)) == "jue 26 nov"
        assert day.render(Context({"day": date(2026, 11, 26)})) == "jue 26 nov 2026"
    with translation.override("en"):
        assert figures.long_day(date(2026, 11, 26)) == "Thursday 26 November"
        assert figures.short_day(date(2026, 11, 26)) == "Thu 26 Nov"
        assert day.render(Context({"day": date(2026, 11, 26)})) == "Thu 26 Nov 2026"


def entries(catalogue: Path) -> Iterator[tuple[str, str]]:
    """What stands behind every msgid of a catalogue, and behind its msgstr; entries are parted by an empty line."""
    for entry in catalogue.read_text("utf-8").split("\n\n")[1:]:
        lines = [line for line in entry.splitlines() if not line.startswith("#~")]
        place = next((at for at, line in enumerate(lines) if line.startswith("msgstr")), len(lines))
        said = [line for line in lines[:place] if not line.startswith("#")]
        if said:
            yield "\n".join(said), entry


@pytest.mark.parametrize("language", [code for code, _name in settings.LANGUAGES if code != "en"])
def test_a_language_on_offer_has_a_whole_catalogue(language, tmp_path):
    """The texts are gathered anew from a copy of the code: each stands in the catalogue, translated, and compiled."""
    if shutil.which("xgettext") is None:
        missing("GNU gettext is not installed")
    kept = shutil.ignore_patterns("*.stl", "*.png", "*.mo", "__pycache__", "tests", "var", ".*", "docs", "node_modules")
    copy = tmp_path / "copy"
    for name in ("makerlab", "lessons", "queue"):
        shutil.copytree(ROOT / name, copy / name, ignore=kept)
    shutil.copy(ROOT / "manage.py", copy)
    environment = {**os.environ, "PYTHONPATH": f"{copy}:{copy / 'queue'}", "MAKERLAB_VAR": str(tmp_path / "var")}
    command = [sys.executable, "manage.py", "write_messages"]
    done = subprocess.run(command, cwd=copy, env=environment, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    told = {}
    for gathered in copy.rglob(f"locale/{language}/LC_MESSAGES/django.po"):
        place = gathered.relative_to(copy)
        there = dict(entries(ROOT / place))
        bad = [
            said
            for said, entry in entries(gathered)
            if said not in there or "#, fuzzy" in entry or re.search(r'msgstr(?:\[\d\])? ""(?:\n(?!")|$)', entry)
        ]
        if bad:
            told[str(place)] = bad
    assert told == {}


def test_one_language_alone_needs_no_switch(client, db, settings):
    settings.LANGUAGES = [("en", "English")]
    page = client.get("/sign-in/", headers={"accept-language": "es"}).text
    assert '<html lang="en">' in page
    assert "/language/" not in page
