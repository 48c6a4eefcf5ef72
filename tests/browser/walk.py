"""Opens every page of a demo's database for every role and prints what each weighs and how often it asks the database.

Run in a process of its own, on a copy of the demo's folder: ``python -m tests.browser.walk``, with MAKERLAB_VAR set.
"""

from __future__ import annotations

import json
import logging
import os
import re
import sys
from collections.abc import Iterator
from dataclasses import asdict, dataclass
from functools import cache
from pathlib import PurePosixPath
from typing import Any

OBJECTS_A_ROLE = 4  # of each address with an object, so many that the role may open are looked at
MISSES_MOST = 30  # an address that answered none of so many objects has no page for this role
STATEMENT = re.compile(r"\s*(BEGIN|COMMIT|ROLLBACK|SAVEPOINT|RELEASE|PRAGMA)", re.IGNORECASE)
FETCHED = re.compile(r'<(?:link rel="(?:stylesheet|icon)"|script|img)[^>]*?(?:href|src)="([^"]+)"')
SPRITE = re.compile(r'<use href="([^"#]+)#')
NAMED = re.compile(r'data-module="([^"]+)"')
WITH_THE_MESH = "/static/makerlab/viewer/"  # the modules of the 3D view come with its mesh, when somebody sees it
LOADED = re.compile(r'hx-get="([^"]+)"[^>]*hx-trigger="load"')
STYLED_BY = re.compile(r'<link rel="stylesheet" href="([^"]+)"')
CLASSES = re.compile(r'\bclass="([^"]+)"')
IN_A_SHEET = re.compile(r"\.([a-z][\w-]*)")
IMPORTED = re.compile(r'^import [^"]*"([^"]+)";|^import "([^"]+)";', re.MULTILINE)
ROLES = ("nobody", "student", "teacher", "technician", "administrator", "district")
DISTRICT = "district:"  # of the last role only these pages are looked at: it has all others as administrator


@dataclass(frozen=True)
class Page:
    """One page as one role got it: bytes of all that is fetched for it but the mesh, not compressed. A fragment, which
    other pages fetch and show, is no whole page. ``unstyled``: classes that only sheets it does not name say something
    about."""

    name: str
    path: str
    role: str
    bytes: int
    html_bytes: int
    queries: int
    asked: dict[str, int]
    whole: bool
    unstyled: list[str]


def main() -> None:
    import django
    from django.db import connection

    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "makerlab.settings")
    django.setup()
    logging.disable(logging.WARNING)
    _ = connection.features.supports_json_field  # asked once a connection, not once a page
    print(json.dumps([asdict(page) for role in ROLES for page in pages_of(role)]))


def pages_of(role: str) -> Iterator[Page]:
    from django.conf import settings
    from django.test import Client

    settings.ALLOWED_HOSTS, settings.DEMO = ["testserver"], True
    client = Client()
    if role != "nobody":
        client.force_login(person_of(role), backend="makerlab.accounts.backends.StaffBackend")
    for name, candidates in addresses():
        if role == "district" and not name.startswith(DISTRICT):
            continue
        seen = missed = 0
        for path in candidates:
            page = opened(client, name, path, role)
            if page is not None:
                yield page
                seen += 1
            missed += page is None
            if seen >= OBJECTS_A_ROLE or missed >= MISSES_MOST:
                break


def person_of(role: str) -> Any:
    """Who stands for a role in the demo. Who runs the district is made: in the demo nobody does."""
    from django.utils import timezone

    from makerlab.accounts.models import Role, SecondStep, User
    from makerlab.accounts.queries import demo_person

    if role != "district":
        return demo_person(role)
    administrator = demo_person(Role.ADMINISTRATOR)
    person, made = User.objects.get_or_create(
        username="district.office",
        defaults={
            "school": administrator.school, "role": Role.ADMINISTRATOR, "display_name": "District office",
            "runs_district": True,
        },
    )  # fmt: skip
    if made:
        SecondStep.objects.create(user=person, secret="JBSWY3DPEHPK3PXP", confirmed_at=timezone.now())
    return person


def opened(client: Any, name: str, path: str, role: str) -> Page | None:
    """The page, or None when this role gets none there: no such object, a download, a redirect."""
    from django.db import connection
    from django.test.utils import CaptureQueriesContext

    with CaptureQueriesContext(connection) as captured:
        response = client.get(path)
        body = b"".join(response) if response.streaming else response.content
    if response.status_code != 200 or not response["Content-Type"].startswith("text/html"):
        return None
    asked = [query["sql"] for query in captured if not STATEMENT.match(query["sql"])]
    tables: dict[str, int] = {}
    for sql in asked:
        table = re.search(r'(?:FROM|INTO|UPDATE) "(\w+)"', sql)
        tables[table[1] if table else sql[:40]] = tables.get(table[1] if table else sql[:40], 0) + 1
    weight = len(body) + sum(fetched(client, body.decode()).values())
    whole = b"</html>" in body
    bare = unstyled(client, body.decode()) if whole else []
    return Page(name, path, role, weight, len(body), len(asked), tables, whole, bare)


def unstyled(client: Any, html: str) -> list[str]:
    """Classes of a page that some sheet of ours has a rule for, and none of those the page names."""
    styled = {name for url in STYLED_BY.findall(html) for name in IN_A_SHEET.findall(content(client, url).decode())}
    used = {name for names in CLASSES.findall(html) for name in names.split()}
    return sorted((used & all_classes()) - styled)


@cache
def all_classes() -> frozenset[str]:
    from django.conf import settings

    sheets = [
        path for app in ("makerlab", "lessons", "queue") for path in (settings.BASE_DIR / app).rglob("static/**/*.css")
    ]
    return frozenset(name for path in sheets for name in IN_A_SHEET.findall(path.read_text("utf-8")))


def fetched(client: Any, html: str) -> dict[str, int]:
    """Bytes by address of all a browser fetches for the page, modules with what they import."""
    weights: dict[str, int] = {}
    waiting = [match for pattern in (FETCHED, SPRITE, NAMED, LOADED) for match in pattern.findall(html)]
    while waiting:
        url = waiting.pop().replace("&amp;", "&").split("#")[0]
        if url in weights or url.startswith(WITH_THE_MESH):
            continue
        body = content(client, url)
        weights[url] = len(body)
        if url.endswith(".js"):
            folder = PurePosixPath(url).parent
            for first, second in IMPORTED.findall(body.decode()):
                waiting.append(os.path.normpath(folder / (first or second)))
    return weights


def content(client: Any, url: str) -> bytes:
    from django.contrib.staticfiles import finders

    if url.startswith("/static/"):
        found = finders.find(url.removeprefix("/static/").split("?")[0])
        assert found, url
        with open(found, "rb") as file:
            return file.read()
    response = client.get(url)
    return b"".join(response) if response.streaming else bytes(response.content)


def addresses() -> Iterator[tuple[str, list[str]]]:
    """Every named address that takes nothing or one object, and the paths it has in this database."""
    from django.urls import URLPattern, URLResolver, get_resolver, reverse

    def walk(resolver: URLResolver, prefix: str) -> Iterator[tuple[str, URLPattern]]:
        for entry in resolver.url_patterns:
            if isinstance(entry, URLResolver):
                yield from walk(entry, f"{prefix}{entry.namespace}:" if entry.namespace else prefix)
            else:
                yield f"{prefix}{entry.name}", entry

    for name, pattern in walk(get_resolver(), ""):
        needs = list(pattern.pattern.converters)
        if not needs:
            yield name, [reverse(name)]
        elif needs == ["pk"]:
            yield name, [reverse(name, args=[pk]) for pk in keys(name.partition(":")[2].partition("-")[0])]
        elif needs == ["pk", "kit_part_id"]:
            yield name, [reverse(name, args=pair) for pair in assignment_parts()]


def keys(noun: str) -> list[int]:
    """Primary keys of what an address's noun means, the newest first, so that full and empty ones are met."""
    models = models_of_nouns()
    if noun not in models:
        sys.exit(f"say in tests/browser/walk.py what {noun!r} is")
    return list(models[noun].objects.order_by("-pk").values_list("pk", flat=True))


def models_of_nouns() -> dict[str, Any]:
    """The model an address's noun means."""
    from django.apps import apps

    from lessons.models import (
        Assignment,
        Coasting,
        DayKind,
        KitPart,
        LessonPackage,
        LessonPlan,
        Meeting,
        Membership,
        SchoolClass,
        SchoolDay,
        Team,
        Term,
    )
    from makerlab.accounts.models import User
    from makerlab.api.models import ApiToken
    from printing.models import (
        ExtraHours,
        Plate,
        PreparedFile,
        Printer,
        PrinterKind,
        PrintRequest,
        Room,
        Run,
        Spool,
        WhatIf,
    )
    from submissions.models import Submission

    models: dict[str, Any] = {
        "prepared": PreparedFile, "submission": Submission, "review": Submission, "request": PrintRequest, "run": Run,
        "plate": Plate, "printer": Printer, "spool": Spool, "plan": LessonPlan, "kit": KitPart,
        "experiment": LessonPlan, "package": LessonPackage,
        "coasting": Coasting, "class": SchoolClass, "team": Team, "meeting": Meeting,
        "assignment": Assignment, "hours": ExtraHours, "day": DayKind, "special": SchoolDay, "term": Term,
        "what": WhatIf,
        "room": Room, "student": Membership, "lab": Assignment, "person": User, "kind": PrinterKind, "token": ApiToken,
    }  # fmt: skip
    return {model.__name__.lower(): model for model in apps.get_models()} | models


def assignment_parts() -> list[tuple[int, int]]:
    from lessons.models import Assignment, KitPart

    parts = list(KitPart.objects.values_list("plan_id", "pk"))
    return [
        (given, part)
        for given, plan in Assignment.objects.values_list("pk", "plan_id")
        for p, part in parts
        if p == plan
    ]


if __name__ == "__main__":
    main()
