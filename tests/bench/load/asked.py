"""How many questions a step asks the database: each step once, as the browser sends it, and then taken back."""

from __future__ import annotations

from typing import Any

from tests.bench.load.rush import APPROVE, TRIGGER, headers_of
from tests.bench.load.visitor import HTMX


def asked(scene: dict[str, Any], content: bytes) -> dict[str, int]:
    """Queries by step; the steps are named as in the rush. Nothing stays in the database."""
    from django.db import connection, transaction
    from django.test.utils import CaptureQueriesContext, setup_test_environment

    setup_test_environment()
    found: dict[str, int] = {}

    def step(name: str, ask: Any, *answers: int) -> Any:
        with CaptureQueriesContext(connection) as queries:
            answer = ask()
        assert answer.status_code in answers, f"{name}: {answer.status_code}"
        found[name] = len(queries)
        return answer

    with transaction.atomic():
        _student(scene, content, step)
        _staff(scene, step)
        transaction.set_rollback(True)
    return found


def _student(scene: dict[str, Any], content: bytes, step: Any) -> None:
    from django.core.files.uploadedfile import SimpleUploadedFile

    client, pages, student = _browser(), scene["pages"], scene["students"][0]
    values = {name: value for name, value in student.items() if name != "upload"}
    step("student signs in", lambda: client.post(pages["student sign-in"], values), 302)
    mine = step("my parts", lambda: client.get(pages["my parts"]), 200)
    step("poll of my parts", lambda: _again(client, mine), 204)
    file = {"file": SimpleUploadedFile("wheel.stl", content)}
    address = step("upload answered", lambda: client.post(student["upload"], file), 302)["Location"]
    report = step("report", lambda: client.get(address), 200)
    step("poll of a report", lambda: _again(client, report), 200, 204)


def _again(client: Any, page: Any) -> Any:
    """As the page asks for news."""
    text = page.content.decode()
    found = TRIGGER.search(text)
    assert found
    return client.get(found[1].replace("&amp;", "&"), headers={**HTMX, **headers_of(text)})


def _browser() -> Any:
    from django.test import Client

    return Client(headers={"X-Forwarded-Proto": "https"})


def _staff(scene: dict[str, Any], step: Any) -> None:
    from makerlab.accounts.models import User

    pages = scene["pages"]
    teacher, technician = _browser(), _browser()
    for client, role in ((teacher, "teacher"), (technician, "technician")):
        client.force_login(
            User.objects.get(username=scene["staff"][role]["username"]), "makerlab.accounts.backends.StaffBackend"
        )
    desk = step("review desk", lambda: teacher.get(pages["review"], follow=True), 200)
    approve = APPROVE.search(desk.content.decode())
    assert approve
    step("approve", lambda: teacher.post(approve[1]), 302)
    step("today", lambda: teacher.get(pages["today"]), 200)
    step("bench", lambda: technician.get(pages["bench"]), 200)
