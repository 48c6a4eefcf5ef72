"""The argument page, marks and the paper worksheet."""

from __future__ import annotations

from typing import Any

import pypdfium2
import pytest
from django.test import Client
from django.urls import reverse

from lessons.lab import actions
from lessons.models import Argument, LabBoard, Mark
from tests.lessons.lab.test_actions import enter, experiment, new
from tests.world import World

pytestmark = pytest.mark.django_db


def url(name: str, world: World) -> str:
    return reverse(f"lessons:{name}", args=[world.assignment.pk])


def words(**changes: str) -> dict[str, Any]:
    return {"claim": "Ours is faster.", "evidence": "2.81 s", "reasoning": "Less spin.", "revision": "0", **changes}


def test_the_teams_own_means_stand_as_evidence_to_begin_with(lab: World, client: Client) -> None:
    for trial, time in enumerate((2.80, 2.81, 2.82), start=1):
        enter(lab, new(trial=trial, measured=time))
    client.force_login(lab.student)
    page = client.get(url("lab-argument", lab)).content.decode().replace("\u00a0", " ")
    assert "Own wheel: 0 g: 2.81 ± 0.01 s." in page
    assert "<td>2.80, 2.81, 2.82</td>" in page  # the numbers of the graph beside it


def test_saving_and_a_second_page_that_did_not_know(lab: World, client: Client) -> None:
    client.force_login(lab.student)
    assert client.post(url("lab-argument", lab), words()).status_code == 302
    late = client.post(url("lab-argument", lab), words(claim="No: theirs."))
    assert late.status_code == 409
    page = late.content.decode()
    assert "No: theirs." in page  # nothing typed is lost
    assert "Ours is faster." in page
    assert Argument.objects.get().claim == "Ours is faster."
    assert client.post(url("lab-argument", lab), words(claim="Both.", revision="1")).status_code == 302


def test_marks_by_the_teacher_are_seen_by_the_team(lab: World, client: Client) -> None:
    client.force_login(lab.teacher)
    client.post(url("lab-mark", lab), {"team": lab.team.pk, "row": 0, "level": 3, "comment": "Careful runs."})
    assert Mark.objects.get().level == 3
    client.force_login(lab.student)
    page = client.get(url("lab-argument", lab)).content.decode()
    assert "Careful runs." in page
    assert "your level" in page
    assert client.post(url("lab-mark", lab), {"team": lab.team.pk, "row": 0, "level": 4}).status_code == 404


@pytest.mark.parametrize("posted", [{"row": "x"}, {"row": "9"}, {"row": ""}, {}])
def test_marks_for_rows_that_are_not_there(lab: World, client: Client, posted: dict[str, str]) -> None:
    client.force_login(lab.teacher)
    assert client.post(url("lab-mark", lab), {"team": lab.team.pk, "level": 3, **posted}).status_code == 404


def test_strangers_see_no_argument(lab: World, client: Client) -> None:
    for user in (lab.far_student, lab.far_teacher, lab.other_teacher):
        client.force_login(user)
        assert client.get(url("lab-argument", lab)).status_code == 404
        assert client.post(url("lab-argument", lab), words()).status_code == 404
    client.force_login(lab.technician)
    assert client.post(url("lab-argument", lab), words()).status_code == 404


def test_the_worksheet_has_a_box_for_every_run(lab: World, client: Client) -> None:
    client.force_login(lab.teacher)
    page = client.get(url("lab-paper", lab)).content.decode()
    assert page.count("<td></td>") == 2 * 3 * 4  # designs x values x (three trials and the mean)


def test_the_lab_report_holds_readings_argument_and_marks(lab: World, client: Client) -> None:
    for trial, time in enumerate((2.80, 2.81, 2.82), start=1):
        enter(lab, new(trial=trial, measured=time))
    enter(lab, new(trial=4, measured=3.5, left_out=True, note="wheel rubbed"))
    client.force_login(lab.student)
    client.post(url("lab-argument", lab), words(claim="Ours <is> faster."))
    client.force_login(lab.teacher)
    client.post(url("lab-mark", lab), {"team": lab.team.pk, "row": 0, "level": 3, "comment": "Careful runs."})
    answer = client.get(url("lab-report", lab), {"team": lab.team.pk})
    assert answer["Content-Type"] == "application/pdf"
    pages = pypdfium2.PdfDocument(answer.content)
    text = "\n".join(page.get_textpage().get_text_range() for page in pages).replace("\u00a0", " ")
    for part in (
        "2.80, 2.81, 2.82",
        "2.81 ± 0.01 s",
        "Ours <is> faster.",
        "3 / 4",
        "[x] c",
        "Careful runs.",
        "wheel rubbed (left out)",
    ):
        assert part in text, part
    client.force_login(lab.far_student)
    assert client.get(url("lab-report", lab)).status_code == 404


def test_a_frozen_board_keeps_a_claim_that_is_written_over(lab: World, client: Client) -> None:
    """It shows what was claimed when it was frozen, and says that something changed; running again it shows the new."""
    actions.save_argument(
        lab.student, lab.assignment, lab.team, 0, claim="lighter is faster", evidence="", reasoning=""
    )
    actions.set_board(lab.teacher, lab.assignment, frozen=True)
    actions.save_argument(
        lab.student, lab.assignment, lab.team, 1, claim="heavier is faster", evidence="", reasoning=""
    )
    actions.enter(lab.student, lab.assignment, lab.team, experiment(lab), new())
    actions.set_board(lab.teacher, lab.assignment, frozen=True)  # freezing it again changes nothing
    client.force_login(lab.teacher)
    frozen = client.get(url("lab-board", lab)).content.decode()
    assert "lighter is faster" in frozen
    assert "heavier is faster" not in frozen
    assert "1 run entered or corrected, 1 claim written or changed" in frozen
    actions.set_board(lab.teacher, lab.assignment, frozen=False)
    running = client.get(url("lab-board", lab)).content.decode()
    assert "heavier is faster" in running
    assert "Changed since" not in running
    assert LabBoard.objects.get().claims == []
