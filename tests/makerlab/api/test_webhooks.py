"""Webhooks: who adds them, what is told, by whom it can be checked, and that nothing told is lost."""

from __future__ import annotations

import base64
import hashlib
import hmac
import ipaddress
import json
import time
from datetime import timedelta

import pytest
from django.core.exceptions import PermissionDenied
from django.urls import reverse
from django.utils import timezone

from makerlab.accounts.people import NotPossible
from makerlab.api import jobs, webhooks
from makerlab.api.models import Delivery, Webhook
from makerlab.audit.models import Event
from makerlab.work.actions import ATTEMPTS_MAX, claim, run_waiting, sweep
from makerlab.work.models import Job
from printing import actions as room_actions
from submissions import actions
from tests.makerlab.api.listening import Listener
from tests.printing.helpers import started
from tests.submissions.make import stl_upload
from tests.world import World, make_student

pytestmark = pytest.mark.django_db
ALL = ["part.checked", "plan.changed", "run.ended"]


@pytest.fixture(autouse=True)
def _loopback_is_open(settings) -> None:
    settings.WEBHOOK_NETWORKS = [ipaddress.ip_network("127.0.0.0/8")]


def is_signed(secret: str, headers, body: str, at: float) -> bool:
    """As docs/api.md says it, by somebody who has only that page: HMAC-SHA256 over id, time and body."""
    key, seconds = headers["webhook-id"], headers["webhook-timestamp"]
    if abs(at - int(seconds)) > 300:
        return False
    mine = hmac.digest(base64.b64decode(secret[len("whsec_") :]), b".".join(
        part.encode() for part in (key, seconds, body)), hashlib.sha256)  # fmt: skip
    sent = [part.split(",") for part in headers["webhook-signature"].split(" ")]
    return any(version == "v1" and hmac.compare_digest(base64.b64decode(value), mine) for version, value in sent)


def ended_run(world: World) -> int:
    run = started(world)
    room_actions.finish_run(run, world.technician)
    return run.pk


def again() -> None:
    """As time passes: what waits is due, and the sweeper comes by."""
    Delivery.objects.filter(state="waiting").update(next_at=timezone.now() - timedelta(seconds=1))
    sweep()
    run_waiting("deliver")


def test_a_run_that_ended_is_told_and_signed(world):
    with Listener() as there:
        hook = webhooks.add_webhook(world.administrator, there.url, ["run.ended"])
        run = ended_run(world)
        assert there.got == [], "told in the background"
        run_waiting("deliver")
    (got,) = there.got
    told = json.loads(got.body)
    assert (told["type"], told["data"]["run"], told["data"]["outcome"]) == ("run.ended", run, "finished")
    assert told["data"]["plate"] and told["data"]["room"] == world.room.pk  # noqa: PT018
    assert (got.path, got.headers["Content-Type"]) == ("/told", "application/json")
    assert is_signed(hook.secret, got.headers, got.body, time.time())
    assert not is_signed(hook.secret, got.headers, got.body + " ", time.time())
    assert not is_signed(webhooks.new_secret(), got.headers, got.body, time.time())
    assert not is_signed(hook.secret, got.headers, got.body, time.time() + 3600)
    delivery = Delivery.objects.get()
    assert (delivery.state, delivery.tries, delivery.status) == ("delivered", 1, 204)


def test_a_part_that_was_really_checked_and_a_plan_that_was_really_made(world):
    """Upload, check, hand in, approve, plan: with the jobs that do it. Nothing of a pupil is in it."""
    pupil = make_student(world.school_class, world.team, "Zephyrine")
    with Listener() as there:
        webhooks.add_webhook(world.administrator, there.url, ALL)
        submission = actions.upload_part(pupil, world.assignment, world.wheel, stl_upload(name="zephyrines.stl"))
        run_waiting("measure")
        submission.refresh_from_db()
        actions.hand_in(pupil, submission, note="as it is")
        actions.approve(world.teacher, submission)
        run_waiting("plan")
        run_waiting("deliver")
    told = [json.loads(got.body) for got in there.got]
    assert [each["type"] for each in told][:2] == ["part.checked", "plan.changed"]
    assert told[0]["data"] == {
        "submission": submission.pk, "assignment": world.assignment.pk, "kit_part": world.wheel.pk,
        "check_state": "checked", "verdict": submission.verdict,
    }  # fmt: skip
    assert told[1]["data"]["room"] == world.room.pk
    for got in there.got:
        assert not {"zephyrine", "pip", "crew", "team"} & set(got.body.casefold().replace('"', " ").split())


def test_each_address_is_told_what_it_wants_and_of_its_own_school_only(world):
    with Listener() as runs, Listener() as plans, Listener() as elsewhere:
        webhooks.add_webhook(world.administrator, runs.url, ["run.ended"])
        webhooks.add_webhook(world.administrator, plans.url, ["plan.changed"])
        Webhook.objects.create(
            school=world.other_school, address=elsewhere.url, happenings=ALL, secret=webhooks.new_secret()
        )
        ended_run(world)
        run_waiting("deliver")
    assert (len(runs.got), plans.got, elsewhere.got) == (1, [], [])


def test_what_is_undone_is_not_told(world):
    """It is told in the transaction of the change: when that fails, nothing waits."""
    webhooks.add_webhook(world.administrator, "http://127.0.0.1:9/", ["run.ended"])
    run = started(world)
    with pytest.raises(PermissionDenied):
        room_actions.finish_run(run, world.teacher)
    assert not Delivery.objects.exists()


def test_it_is_tried_again_later_each_time_until_it_is_taken(world):
    with Listener(answers=[500, 301, 204]) as there:
        webhooks.add_webhook(world.administrator, there.url, ["run.ended"])
        ended_run(world)
        waits = []
        for status in (500, 301):
            before = timezone.now()
            run_waiting("deliver")
            delivery = Delivery.objects.get()
            assert (delivery.state, delivery.status) == ("waiting", status)
            waits.append(round((delivery.next_at - before).total_seconds(), -1))
            sweep()
            assert run_waiting("deliver") == 0, "not before its time"
            Delivery.objects.update(next_at=timezone.now() - timedelta(seconds=1))
            sweep()
        run_waiting("deliver")
    assert waits == [30, 120]
    delivery = Delivery.objects.get()
    assert (delivery.state, delivery.tries) == ("delivered", 3)
    assert len({got.headers["webhook-id"] for got in there.got}) == 1, "one message, whatever the number of tries"
    assert len({got.body for got in there.got}) == 1


def test_an_address_nobody_answers_at_is_given_up_and_told(world, signed_in):
    with Listener() as there:
        url = there.url
    webhooks.add_webhook(world.administrator, url, ["run.ended"])  # nobody listens there any more
    ended_run(world)
    run_waiting("deliver")
    for _ in jobs.WAITS_S:
        again()
    delivery = Delivery.objects.get()
    assert (delivery.state, delivery.tries) == ("failed", len(jobs.WAITS_S) + 1)
    assert "ConnectionRefusedError" in delivery.problem
    again()
    assert Delivery.objects.get().tries == delivery.tries
    page = signed_in(world.administrator).get(reverse("access:webhook-list")).content.decode()
    assert delivery.problem in page


def test_a_worker_that_dies_loses_no_delivery(world):
    """It dies three times with the job in hand, and the job is given up; the delivery is not."""
    with Listener() as there:
        webhooks.add_webhook(world.administrator, there.url, ["run.ended"])
        ended_run(world)
        for _ in range(ATTEMPTS_MAX):
            job = claim("deliver")
            assert job is not None
            Job.objects.filter(pk=job.pk).update(worker="elsewhere:1:0", lease_until=timezone.now())
            sweep()
        assert Job.objects.get(kind="deliver").state == "failed"
        assert Delivery.objects.get().state == "waiting"
        assert there.got == []
        again()
        assert len(there.got) == 1
    assert Delivery.objects.get().state == "delivered"


def test_a_delivery_whose_job_is_gone_is_told_all_the_same(world):
    with Listener() as there:
        webhooks.add_webhook(world.administrator, there.url, ["run.ended"])
        ended_run(world)
        Job.objects.filter(kind="deliver").delete()
        sweep()
        sweep()
        assert Job.objects.filter(kind="deliver").count() == 1, "one job, however often it is looked"
        run_waiting("deliver")
    assert len(there.got) == 1


def test_a_late_worker_does_not_count_a_try_twice(world):
    """It was taken for dead, another one delivered; then its own answer comes."""
    with Listener() as there:
        webhooks.add_webhook(world.administrator, there.url, ["run.ended"])
        ended_run(world)
        late = Delivery.objects.get()
        run_waiting("deliver")
    jobs.note(late, jobs.Tried(problem="late"))
    assert (Delivery.objects.get().state, Delivery.objects.get().tries) == ("delivered", 1)


def test_a_changed_secret_and_the_old_one_for_a_day(world):
    with Listener() as there:
        hook = webhooks.add_webhook(world.administrator, there.url, ["run.ended"])
        old = hook.secret
        hook = webhooks.change_secret(world.administrator, hook)
        ended_run(world)
        run_waiting("deliver")
        got = there.got[0]
        assert is_signed(old, got.headers, got.body, time.time())
        assert is_signed(hook.secret, got.headers, got.body, time.time())
        Webhook.objects.update(old_until=timezone.now() - timedelta(seconds=1))
        Delivery.objects.update(state="waiting")
        again()
        got = there.got[1]
    assert not is_signed(old, got.headers, got.body, time.time())
    assert is_signed(hook.secret, got.headers, got.body, time.time())


def test_an_inner_address_is_refused_when_added_and_when_told(world, settings):
    hook = webhooks.add_webhook(world.administrator, "http://127.0.0.1:9/", ["run.ended"])
    settings.WEBHOOK_NETWORKS = []
    ended_run(world)
    run_waiting("deliver")
    delivery = Delivery.objects.get()
    assert (delivery.state, delivery.status) == ("waiting", None)
    assert "https" in delivery.problem
    for address in ("http://127.0.0.1:9/x", "https://127.0.0.1/", "https://10.1.2.3/", "http://hooks.example/"):
        with pytest.raises(NotPossible) as told:
            webhooks.add_webhook(world.administrator, address, ["run.ended"])
        assert told.value.field == "address"
    assert list(Webhook.objects.all()) == [hook]


def test_only_administrators_and_each_of_the_own_school(world, signed_in):
    page, address = reverse("access:webhook-list"), "https://hooks.example/told"
    for who in ("teacher", "technician", "student"):
        assert signed_in(getattr(world, who)).get(page).status_code == 404
        with pytest.raises(PermissionDenied):
            webhooks.add_webhook(getattr(world, who), address, ALL)
    client = signed_in(world.administrator)
    told = client.post(page, {"address": address, "happenings": ["run.ended"]}).content.decode()
    hook = Webhook.objects.get()
    assert hook.secret in told
    assert hook.secret not in client.get(page).content.decode(), "shown once"
    assert hook.secret not in str(list(Event.objects.values()))
    changed = client.post(reverse("access:webhook-secret", args=[hook.pk])).content.decode()
    assert Webhook.objects.get().secret in changed
    assert Webhook.objects.get().secret != hook.secret
    again_added = client.post(page, {"address": address, "happenings": ["run.ended"]})
    assert again_added.status_code == 422
    Webhook.objects.update(school=world.other_school)
    assert address not in client.get(page).content.decode()
    for verb in ("access:webhook-remove", "access:webhook-secret"):
        assert client.post(reverse(verb, args=[hook.pk])).status_code == 404
    Webhook.objects.update(school=world.school)
    assert client.post(reverse("access:webhook-remove", args=[hook.pk])).status_code == 302
    assert not Webhook.objects.exists()
    verbs = {"add_webhook", "change_webhook_secret", "remove_webhook"}
    assert verbs <= set(Event.objects.values_list("verb", flat=True))


def test_the_secret_is_encrypted_where_it_lies(world):
    hook = webhooks.add_webhook(world.administrator, "https://hooks.example/told", ALL)
    with_secret = Webhook.objects.extra(select={"kept": "secret"}).values_list("kept", flat=True)
    assert hook.secret not in with_secret[0]


def test_old_deliveries_are_forgotten_and_waiting_ones_are_not(world):
    hook = webhooks.add_webhook(world.administrator, "https://hooks.example/told", ALL)
    for state in ("waiting", "delivered", "failed"):
        Delivery.objects.create(webhook=hook, happening="run.ended", body="{}", state=state)
    jobs.forget_old_deliveries()
    assert Delivery.objects.count() == 3
    Delivery.objects.update(made_at=timezone.now() - timedelta(days=31))
    jobs.forget_old_deliveries()
    assert [each.state for each in Delivery.objects.all()] == ["waiting"]
