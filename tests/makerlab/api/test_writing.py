"""What programs change: by the actions of the pages, with their checks, their records and their refusals."""

from __future__ import annotations

import uuid
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile

from lessons.models import Reading
from makerlab.api.models import KeptAnswer
from makerlab.api.once import forget_old_answers
from makerlab.audit.models import Event
from makerlab.work.actions import run_waiting
from makerlab.work.models import Job
from printing.models import PrintCopy, PrintRequest, Run, Spool
from submissions.models import Submission
from tests.lessons.lab.test_experiment import GOOD
from tests.makerlab.api.calling import Caller, refused
from tests.makerlab.site_addresses import other_side
from tests.printing.helpers import ordered, started
from tests.submissions.make import make_submission, stl_upload, stored_files, wheel_stl
from tests.world import World

pytestmark = pytest.mark.django_db


def upload(caller: Caller, world: World, file: SimpleUploadedFile | None = None, **values: Any):
    form = {"kit_part": world.wheel.pk, "team": world.team.pk, "file": file or stl_upload(), **values}
    headers = form.pop("headers", None)
    return caller.send(f"/assignments/{world.assignment.pk}/submissions", headers=headers, **form)


def verbs() -> list[str]:
    return list(Event.objects.order_by("pk").values_list("verb", flat=True))


# Parts


def test_an_uploaded_part_is_stored_numbered_and_really_checked(world):
    make_submission(world)
    caller = Caller(world.teacher)
    told = upload(caller, world)
    assert told.status_code == 201, told.content
    submission = Submission.objects.get(pk=told.json()["id"])
    assert (submission.version, submission.team, submission.uploaded_by) == (2, world.team, world.teacher)
    assert (submission.state, submission.check_state) == ("draft", "checking")
    with submission.file.open() as stored:
        assert stored.read() == wheel_stl()
    assert "upload" in verbs()
    run_waiting("measure")
    whole = caller.get(f"/submissions/{submission.pk}").json()
    assert whole["check_state"] == "checked"
    assert whole["mass_g"] > 1
    assert whole["width_mm"] == pytest.approx(whole["depth_mm"], abs=0.5), "a wheel is as wide as deep"
    assert whole["findings"]


def test_the_team_hands_in_what_was_uploaded_for_it(world, signed_in):
    upload(Caller(world.teacher), world)
    assert "pips-wheel.stl" in signed_in(world.student).get("/parts/", follow=True).content.decode()


def test_the_same_file_again_is_the_version_that_counts_already(world):
    caller = Caller(world.teacher)
    first, again = upload(caller, world), upload(caller, world)
    assert (first.status_code, again.status_code) == (201, 200)
    assert first.json()["id"] == again.json()["id"]
    assert Submission.objects.count() == 1


def test_a_file_that_is_refused_leaves_nothing(world, settings):
    caller = Caller(world.teacher)
    assert "empty" in refused(upload(caller, world, stl_upload(b"")), 422, "refused")
    settings.UPLOAD_MAX_BYTES = 1024
    refused(upload(caller, world), 422, "refused")
    refused(
        caller.send(f"/assignments/{world.assignment.pk}/submissions", kit_part=world.wheel.pk, team=world.team.pk),
        422,
        "invalid",
    )
    assert not Submission.objects.exists()
    assert stored_files() == []


def test_for_another_class_team_or_school_nobody_uploads(world):
    other = other_side(world)
    before = Submission.objects.count()
    refused(upload(Caller(world.far_teacher), world), 404, "not_found")
    refused(upload(Caller(world.technician), world), 403, "not_allowed")
    refused(upload(Caller(other.administrator), world), 404, "not_found")
    caller = Caller(world.administrator)
    refused(upload(caller, world, team=other.team.pk), 404, "not_found")
    refused(upload(caller, world, team=world.far_team.pk), 403, "not_allowed")
    refused(upload(caller, world, kit_part=world.chassis.pk), 403, "not_allowed")  # nobody redesigns it
    assert Submission.objects.count() == before


def test_approving_orders_the_kit_and_sending_back_tells_the_team(world):
    caller = Caller(world.teacher)
    mine = make_submission(world, state="handed_in")
    told = caller.post(f"/submissions/{mine.pk}/approve")
    assert (told.status_code, told.json()["state"]) == (200, "approved")
    assert PrintRequest.objects.filter(submission=mine).exists()
    refused(caller.post(f"/submissions/{mine.pk}/approve"), 409, "not_now")
    refused(caller.post(f"/submissions/{mine.pk}/return", note="  "), 422, "note_needed")
    refused(caller.post(f"/submissions/{mine.pk}/return", note="Too thin.", seen="handed_in"), 409, "not_now")
    back = caller.post(f"/submissions/{mine.pk}/return", note="Too thin.", seen="approved")
    assert [each["note"] for each in back.json()["reviews"]][:1] == ["Too thin."]
    assert {"approve", "return", "order_kit", "cancel_copies"} <= set(verbs())
    assert Event.objects.get(verb="approve").actor == world.teacher


@pytest.mark.parametrize(("who", "status"), [("far_teacher", 404), ("technician", 403), ("other_teacher", 404)])
def test_others_neither_approve_nor_send_back(world, who, status):
    mine = make_submission(world, state="handed_in")
    caller = Caller(getattr(world, who))
    assert caller.post(f"/submissions/{mine.pk}/approve").status_code == status
    assert caller.post(f"/submissions/{mine.pk}/return", note="No.").status_code == status
    mine.refresh_from_db()
    assert mine.state == "handed_in"


# Queue


def test_moving_and_cancelling_a_request(world):
    first, second = ordered(world), ordered(world, world.second_team)
    caller = Caller(world.teacher)
    order = [each["id"] for each in caller.get(f"/rooms/{world.room.pk}/queue").json()["requests"]]
    version = caller.get(f"/rooms/{world.room.pk}/queue").json()["queue_version"]
    moved = caller.post(f"/requests/{second.pk}/move", direction="up", queue_version=version)
    assert moved.json() == {"queue_version": version + 1}
    after = [each["id"] for each in caller.get(f"/rooms/{world.room.pk}/queue").json()["requests"]]
    assert after.index(second.pk) == order.index(second.pk) - 1
    stale = caller.post(f"/requests/{first.pk}/move", direction="up", queue_version=version)
    refused(stale, 409, "not_now")
    refused(caller.post(f"/requests/{first.pk}/move", direction="away", queue_version=1), 422, "invalid")
    assert caller.post(f"/requests/{first.pk}/cancel").json() == {"cancelled": 4}
    refused(caller.post(f"/requests/{first.pk}/cancel"), 409, "not_now")
    assert {"move_request", "cancel_copies"} <= set(verbs())
    assert Job.objects.filter(kind="plan-room", state="waiting").exists(), "the room is planned again"


@pytest.mark.parametrize(("who", "status"), [("far_teacher", 404), ("technician", 403), ("other_technician", 404)])
def test_others_do_not_touch_the_queue(world, who, status):
    request = ordered(world)
    caller = Caller(getattr(world, who))
    assert caller.post(f"/requests/{request.pk}/cancel").status_code == status
    world.room.refresh_from_db()
    moved = caller.post(f"/requests/{request.pk}/move", direction="down", queue_version=world.room.queue_version)
    assert moved.status_code == status
    assert set(request.copies.values_list("state", flat=True)) == {"waiting"}


# Runs


def test_a_printer_reports_that_all_is_good(world):
    run = started(world)
    left = Spool.objects.get(printer=run.printer).grams_left
    caller = Caller(world.technician, scopes=("runs:write",))
    refused(caller.post(f"/runs/{run.pk}/report", outcome="finished"), 422, "not_cool")
    told = caller.post(f"/runs/{run.pk}/report", outcome="finished", is_cool=True, weighed_g=41.5)
    assert (told.status_code, told.json()["outcome"], told.json()["used_g"]) == (200, "finished", 41.5)
    assert set(PrintCopy.objects.filter(plate=run.plate).values_list("state", flat=True)) == {"in_tray"}
    assert Spool.objects.get(printer=run.printer).grams_left == pytest.approx(left - 41.5)
    refused(caller.post(f"/runs/{run.pk}/report", outcome="stopped"), 409, "not_now")
    assert verbs().count("run_finished") == 1


def test_a_printer_reports_which_copies_failed_and_why(world):
    run = started(world)
    caller = Caller(world.technician)
    ids = [copy["copy_id"] for copy in caller.get(f"/runs/{run.pk}").json()["copies"]]
    lost = [{"copy_id": ids[0], "reason": "warped"}, {"copy_id": ids[2], "reason": "came_off"}]
    told = caller.post(f"/runs/{run.pk}/report", outcome="partly_good", is_cool=True, lost=lost).json()
    assert {copy["copy_id"]: copy["reason"] for copy in told["copies"] if not copy["good"]} == {
        ids[0]: "warped", ids[2]: "came_off",
    }  # fmt: skip
    states = dict(PrintCopy.objects.filter(pk__in=ids).values_list("pk", "state"))
    assert [states[pk] for pk in ids] == ["waiting", "in_tray", "waiting", "in_tray"]
    assert Event.objects.get(verb="run_partly_good").facts["lost"] == {str(ids[0]): "warped", str(ids[2]): "came_off"}


@pytest.mark.parametrize(
    ("body", "status", "code"),
    [
        ({"outcome": "running"}, 422, "invalid"),
        ({"outcome": "failed"}, 422, "refused"),  # no reason
        ({"outcome": "failed", "reason": "bad luck"}, 422, "invalid"),
        ({"outcome": "finished", "is_cool": True, "lost": [{"copy_id": 1, "reason": "jam"}]}, 422, "refused"),
        ({"outcome": "partly_good", "is_cool": True}, 422, "refused"),
        ({"outcome": "partly_good", "is_cool": True, "lost": [{"copy_id": 987654, "reason": "jam"}]}, 409, "not_now"),
        ({"outcome": "stopped", "print_ended_at": "2019-01-01T00:00:00Z"}, 409, "not_now"),
        ({"outcome": "stopped", "weighed_g": -3}, 422, "invalid"),
    ],
)
def test_a_report_that_does_not_fit_changes_nothing(world, body, status, code):
    run = started(world)
    refused(Caller(world.technician).post(f"/runs/{run.pk}/report", **body), status, code)
    run.refresh_from_db()
    assert run.outcome == "running"
    assert Caller(world.administrator).post(f"/runs/{run.pk}/report", outcome="stopped").status_code == 200


@pytest.mark.parametrize(("who", "status"), [("teacher", 403), ("other_technician", 404)])
def test_others_do_not_report(world, who, status):
    run = started(world)
    assert Caller(getattr(world, who)).post(f"/runs/{run.pk}/report", outcome="stopped").status_code == status
    assert Run.objects.get().outcome == "running"


# Lab day


def reading(world: World, **changes: Any) -> dict[str, Any]:
    world.plan.content = {"experiment": GOOD}
    world.plan.save(update_fields=["content"])
    values = {"entry": str(uuid.uuid4()), "team": world.team.pk, "design": GOOD["designs"][0], "trial": 1}
    return {**values, "changed": GOOD["changed"]["tried"][0], "measured": 2.41, **changes}


def test_a_reading_is_entered_once_and_counts(world):
    body = reading(world)
    caller, path = Caller(world.teacher), f"/assignments/{world.assignment.pk}/lab"
    told = caller.post(f"{path}/readings", **body)
    assert told.status_code == 201, told.content
    assert caller.post(f"{path}/readings", **body).json()["id"] == told.json()["id"]
    assert Reading.objects.count() == 1
    caller.post(f"{path}/readings", **reading(world, trial=2, measured=2.51))
    lab = caller.get(path).json()
    assert [each["measured"] for each in lab["readings"]] == [2.41, 2.51]
    (mean,) = lab["means"]
    assert (mean["team"], mean["trials"], mean["mean"]) == (world.team.pk, 2, pytest.approx(2.46))
    assert lab["measured"]["unit"] == GOOD["measured"]["unit"]
    assert caller.get(path, since=lab["revision"]).status_code == 204
    wrong = reading(world, replaces=told.json()["id"], measured=2.14)
    fixed = caller.post(f"{path}/readings", **wrong).json()
    assert fixed["id"] in {each["id"] for each in caller.get(path).json()["readings"]}
    assert told.json()["id"] not in {each["id"] for each in caller.get(path).json()["readings"]}
    assert verbs().count("enter reading") == 2


def test_readings_are_refused_as_on_the_sheet(world):
    caller, path = Caller(world.teacher), f"/assignments/{world.assignment.pk}/lab/readings"
    for changes in ({"measured": None}, {"changed": 99.5}, {"design": "kite"}, {"measured": -1.0}):
        refused(caller.post(path, **reading(world, **changes)), 422, "refused")
    refused(Caller(world.technician).post(path, **reading(world)), 403, "not_allowed")
    refused(Caller(world.far_teacher).post(path, **reading(world)), 404, "not_found")
    refused(caller.post(path, **reading(world, team=world.far_team.pk)), 404, "not_found")
    refused(Caller(world.administrator).post(path, **reading(world, team=world.far_team.pk)), 403, "not_allowed")
    assert not Reading.objects.exists()


# Scopes and repeating


def test_reading_scopes_write_nothing(world):
    run, mine = started(world), make_submission(world, state="handed_in", version=9)
    request = PrintRequest.objects.first()
    reads = tuple(f"{what}:read" for what in ("submissions", "queue", "plan", "runs", "lab"))
    caller = Caller(world.administrator, scopes=reads)
    for path, body in (
        (f"/runs/{run.pk}/report", {"outcome": "stopped"}), (f"/submissions/{mine.pk}/approve", {}),
        (f"/submissions/{mine.pk}/return", {"note": "x"}), (f"/requests/{request.pk}/cancel", {}),
        (f"/requests/{request.pk}/move", {"direction": "up", "queue_version": 0}),
        (f"/assignments/{world.assignment.pk}/lab/readings", reading(world)),
    ):  # fmt: skip
        assert "scope" in refused(caller.post(path, **body), 403, "not_allowed")
    refused(upload(caller, world), 403, "not_allowed")


KEY = {"Idempotency-Key": "8e03978e-40d5-43dd-bc93-6894a57f9324"}


def test_the_same_request_with_a_key_is_done_once(world):
    caller = Caller(world.teacher)
    first, again = upload(caller, world, headers=KEY), upload(caller, world, headers=KEY)
    assert (first.status_code, again.status_code) == (201, 201)
    assert again.json() == first.json()
    assert again["Idempotency-Replayed"] == "true"
    assert "Idempotency-Replayed" not in first
    assert Submission.objects.count() == verbs().count("upload") == 1


def test_a_key_belongs_to_one_request_of_one_token(world):
    request = ordered(world)
    caller = Caller(world.teacher)
    assert caller.post(f"/requests/{request.pk}/cancel", headers=KEY).status_code == 200
    other = caller.post(f"/requests/{request.pk}/move", headers=KEY, direction="up", queue_version=1)
    refused(other, 422, "key_used")
    assert caller.post(f"/requests/{request.pk}/cancel", headers=KEY).json() == {"cancelled": 4}
    refused(Caller(world.administrator).post(f"/requests/{request.pk}/cancel", headers=KEY), 409, "not_now")
    refused(caller.post(f"/requests/{request.pk}/cancel", headers={"Idempotency-Key": "a b"}), 422, "bad_key")


def test_a_refusal_is_not_kept_and_may_be_tried_again(world):
    run = started(world)
    caller, path = Caller(world.technician), f"/runs/{run.pk}/report"
    refused(caller.post(path, headers=KEY, outcome="failed"), 422, "refused")
    assert not KeptAnswer.objects.exists()
    assert caller.post(path, headers=KEY, outcome="failed", reason="jam").status_code == 200
    assert caller.post(path, headers=KEY, outcome="failed", reason="jam").status_code == 200
    assert verbs().count("run_failed") == 1


def test_kept_answers_go_after_a_day(world):
    request = ordered(world)
    Caller(world.teacher).post(f"/requests/{request.pk}/cancel", headers=KEY)
    forget_old_answers()
    kept = KeptAnswer.objects.get()
    KeptAnswer.objects.update(made_at=kept.made_at.replace(year=kept.made_at.year - 1))
    forget_old_answers()
    assert not KeptAnswer.objects.exists()


@pytest.mark.django_db(transaction=True)
def test_of_four_at_once_with_one_key_one_does_it(world, at_once):
    request = ordered(world)
    callers = [Caller(world.teacher)]
    callers += [Caller(world.teacher, secret=callers[0].secret) for _ in range(3)]
    path = f"/requests/{request.pk}/cancel"
    answers = at_once(*(lambda caller=caller: caller.post(path, headers=KEY) for caller in callers))
    assert [(answer.status_code, answer.json()) for answer in answers] == [(200, {"cancelled": 4})] * 4
    assert sum("Idempotency-Replayed" in answer for answer in answers) == 3
    assert at_once(lambda: Event.objects.filter(verb="cancel_copies").count()) == [1]


def test_a_body_that_cannot_be_read(world):
    run = started(world)
    caller = Caller(world.technician)
    broken = caller.client.post(f"/api/v1/runs/{run.pk}/report", "{", "application/json", headers=caller.headers)
    refused(broken, 400, "malformed")
    nul = caller.client.post(
        f"/api/v1/submissions/{make_submission(world, version=5, state='handed_in').pk}/return",
        '{"note": "a\\u0000b"}', "application/json", headers=Caller(world.teacher).headers,
    )  # fmt: skip
    refused(nul, 422, "invalid")
