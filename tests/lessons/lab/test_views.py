"""The lab pages: who sees what, readings sent by a device and by the form, the board that follows by itself."""

from __future__ import annotations

import json
import uuid
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from lessons.lab import actions, queries
from lessons.models import LabBoard, Reading
from tests.lessons.lab.test_actions import OWN, enter, experiment, new
from tests.world import World

pytestmark = pytest.mark.django_db


@pytest.fixture
def signed(client: Client) -> Any:
    def sign_in(user: Any) -> Client:
        client.force_login(user)
        return client

    return sign_in


def url(name: str, world: World) -> str:
    return reverse(f"lessons:{name}", args=[world.assignment.pk])


def row(**changes: Any) -> dict[str, Any]:
    return {"entry": str(uuid.uuid4()), "design": OWN, "changed": 0, "measured": 2.81, **changes}


def send(client: Client, world: World, *rows: Any, **more: Any) -> Any:
    body = json.dumps({"readings": list(rows), **more})
    return client.post(url("lab-enter", world), body, content_type="application/json")


def test_a_student_enters_and_sees_the_mean(lab: World, signed: Any) -> None:
    client = signed(lab.student)
    answer = send(client, lab, row(measured=2.81), row(measured="2,84"), row(measured=2.78))
    assert [each["trial"] for each in answer.json()["readings"]] == [1, 2, 3]
    page = client.get(url("lab-sheet", lab), {"design": OWN, "at": "0"}).content.decode()
    assert "2.81 ± 0.02" in page.replace("\u00a0", " ")  # mean 2.81, s 0.03, s / sqrt(3) 0.017
    assert "Go on with 200" in page.replace("\u00a0", " ")


def test_sending_again_after_a_lost_answer_changes_nothing(lab: World, signed: Any) -> None:
    client = signed(lab.student)
    rows = [row(), row(changed=200, measured=2.6)]
    first, second = send(client, lab, *rows).json(), send(client, lab, *rows).json()
    assert first == second
    assert Reading.objects.count() == 2


def test_one_bad_reading_does_not_hold_up_the_others(lab: World, signed: Any) -> None:
    answers = send(signed(lab.student), lab, row(measured="fast"), row(), "nonsense", row(changed=33)).json()[
        "readings"
    ]
    assert [each["kept"] for each in answers] == [False, True, False, False]
    assert "not a number" in answers[0]["why"]
    assert Reading.objects.count() == 1


@pytest.mark.parametrize(
    "body",
    ["[]", "{}", '{"readings": 3}', '{"readings": ' + "[" * 2000 + "]" * 2000 + "}", "\x00", '{"readings": [1'],
)
def test_what_is_no_list_of_readings_is_told_so(lab: World, signed: Any, body: str) -> None:
    answer = signed(lab.student).post(url("lab-enter", lab), body, content_type="application/json")
    assert answer.status_code in (200, 400)
    assert not Reading.objects.exists()


def test_the_form_works_without_script(lab: World, signed: Any) -> None:
    client = signed(lab.student)
    posted = {"entry": str(uuid.uuid4()), "design": OWN, "at": "200", "measured": "2,66", "team": ""}
    answer = client.post(url("lab-enter", lab), posted)
    assert answer.status_code == 302
    assert Reading.objects.get().measured == 2.66
    bad = client.post(url("lab-enter", lab), {**posted, "entry": str(uuid.uuid4()), "measured": "soon"}, follow=True)
    assert "is not a number" in bad.content.decode()


def test_an_odd_time_is_asked_about_and_kept_with_a_reason(lab: World, signed: Any) -> None:
    for time in (2.80, 2.82, 3.60):
        enter(lab, new(measured=time))
    client = signed(lab.student)
    page = client.get(url("lab-sheet", lab), {"design": OWN}).content.decode()
    assert "Measure again, or keep it with a reason" in page
    odd = Reading.objects.get(measured=3.60)
    posted = {
        "entry": str(uuid.uuid4()),
        "design": OWN,
        "at": "0",
        "measured": "3.6",
        "note": "rubbed",
        "replaces": odd.pk,
    }
    client.post(url("lab-enter", lab), posted)
    page = client.get(url("lab-sheet", lab), {"design": OWN}).content.decode()
    assert "keep it with a reason" not in page
    assert Reading.objects.count() == 4


@pytest.mark.parametrize("name", ["lab-sheet", "lab-board"])
def test_nobody_else_sees_it(lab: World, client: Client, name: str) -> None:
    for user in (lab.far_student, lab.far_teacher, lab.other_teacher, lab.other_student, lab.other_technician):
        client.force_login(user)
        assert client.get(url(name, lab)).status_code == 404


def test_a_teacher_enters_for_a_team_and_a_technician_only_looks(lab: World, client: Client) -> None:
    client.force_login(lab.teacher)
    send(client, lab, row(), team=str(lab.second_team.pk))
    assert Reading.objects.get().team == lab.second_team
    client.force_login(lab.technician)
    assert client.get(url("lab-board", lab)).status_code == 200
    assert send(client, lab, row()).status_code == 404
    assert client.post(url("lab-board-set", lab), {"entries": "closed"}).status_code == 404


def test_a_student_cannot_name_another_team(lab: World, signed: Any) -> None:
    send(signed(lab.student), lab, row(), team=str(lab.second_team.pk))
    assert Reading.objects.get().team == lab.team


def test_the_board_follows_and_rests(lab: World, signed: Any) -> None:
    client = signed(lab.teacher)
    htmx = {"HX-Request": "true"}
    assert client.get(url("lab-board", lab), {"since": "0"}, headers=htmx).status_code == 204
    enter(lab, new())
    answer = client.get(url("lab-board", lab), {"since": "0"}, headers=htmx)
    assert answer.status_code == 200
    assert answer.content.decode().lstrip().startswith('<div id="live"')
    assert client.get(url("lab-board", lab), {"since": "1"}, headers=htmx).status_code == 204


def test_the_teacher_leads_the_lab(lab: World, signed: Any) -> None:
    client = signed(lab.teacher)
    client.post(url("lab-board-set", lab), {"board": "frozen"})
    client.post(url("lab-board-set", lab), {"notes": "Why is the line bent?"})
    page = client.get(url("lab-board", lab)).content.decode()
    assert "frozen" in page
    assert "Why is the line bent?" in page
    client.post(url("lab-board-set", lab), {"board": "live", "entries": "closed"})
    board = LabBoard.objects.get()
    assert (board.frozen_at, board.is_open) == (None, False)
    client.force_login(lab.student)
    assert "Entries are closed" in client.get(url("lab-sheet", lab)).content.decode()


def test_a_class_is_shown_in_few_queries(lab: World, signed: Any, django_assert_max_num_queries: Any) -> None:
    for team in (lab.team, lab.second_team):
        for value in (0.0, 200.0, 100.0):
            for trial in (1, 2, 3):
                time = 2.9 - value / 1000 + trial / 100
                enter(lab, new(changed=value, trial=trial, measured=time), user=lab.teacher, team=team)
    client = signed(lab.teacher)
    client.get(url("lab-board", lab))
    with django_assert_max_num_queries(14):
        page = client.get(url("lab-board", lab), {"team": lab.team.pk}).content.decode()
    assert "The prediction holds" in page
    result = queries.results(lab.assignment, experiment(lab))
    assert result.runs_done == 18


def test_a_plan_without_experiment_has_no_lab(lab: World, signed: Any) -> None:
    lab.plan.content = {}
    lab.plan.save()
    assert signed(lab.student).get(url("lab-sheet", lab)).status_code == 404
    assert "No lab day yet" in signed(lab.student).get(reverse("lessons:lab-list")).content.decode()


def test_a_student_without_team_is_told(lab: World, signed: Any) -> None:
    lab.student.memberships.update(team=None)
    assert "not in a team" in signed(lab.student).get(url("lab-sheet", lab)).content.decode()
    assert send(signed(lab.student), lab, row()).status_code == 409


def test_a_correction_of_a_closed_lab_is_refused_and_told(lab: World, signed: Any) -> None:
    old = enter(lab, new())
    actions.set_board(lab.teacher, lab.assignment, is_open=False)
    answer = send(signed(lab.student), lab, row(replaces=old.pk)).json()["readings"][0]
    assert not answer["kept"]
    assert "closed" in answer["why"]
