"""Background work of webhooks: one job is one try. The row of the delivery says when the next one is due, and the
sweeper makes its job: whatever dies, a delivery that waits is tried again."""

from __future__ import annotations

import time
from dataclasses import dataclass
from datetime import timedelta
from http.client import HTTPException
from typing import Any

from django.conf import settings
from django.db.models import CharField, Exists, OuterRef
from django.db.models.functions import Cast
from django.utils import timezone

from makerlab.api.models import Delivery
from makerlab.api.sending import AddressRefused, look_up, post, sign
from makerlab.api.webhooks import DELIVER
from makerlab.work.actions import OPEN, enqueue
from makerlab.work.lanes import Lane
from makerlab.work.models import Job
from makerlab.work.registry import Apply, Handler, register

WAITS_S = (30, 120, 600, 3600, 4 * 3600, 12 * 3600)  # between tries; after the last one it is given up
KEPT_FOR = timedelta(days=30)
AT_A_TIME = 200
NOT_SENT = "It could not be sent."
Waiting = Delivery.State.WAITING


@dataclass(frozen=True)
class Tried:
    """What came of one try: the status the address answered, or why there was none."""

    status: int | None = None
    problem: str = ""

    @property
    def is_taken(self) -> bool:
        return self.status is not None and 200 <= self.status < 300


def deliver(job: Job) -> Apply:
    """Try once; what is returned notes what came of it."""
    delivery = Delivery.objects.select_related("webhook").filter(pk=job.subject, state=Waiting).first()
    if delivery is None:  # taken already, or its address was taken away
        return lambda: None
    tried = attempt(delivery)
    return lambda: note(delivery, tried)


def attempt(delivery: Delivery) -> Tried:
    """Send it, signed as of now."""
    webhook, now = delivery.webhook, timezone.now()
    seconds, key = int(time.time()), str(delivery.key)
    secrets = [webhook.secret]
    if webhook.old_secret and webhook.old_until is not None and now < webhook.old_until:
        secrets.append(webhook.old_secret)
    if not all(secrets):
        return Tried(problem="The secret cannot be read with this installation's key. Change it.")
    headers = {
        "Content-Type": "application/json",
        "User-Agent": "Makerlab",
        "webhook-id": key,
        "webhook-timestamp": str(seconds),
        "webhook-signature": " ".join(sign(secret, key, seconds, delivery.body) for secret in secrets),
    }
    try:
        return Tried(status=post(look_up(webhook.address, settings.WEBHOOK_NETWORKS), headers, delivery.body))
    except AddressRefused as refused:
        return Tried(problem=str(refused))
    except (OSError, HTTPException, UnicodeError) as error:
        return Tried(problem=f"No answer: {type(error).__name__}.")


def note(delivery: Delivery, tried: Tried) -> None:
    """Write down what came of a try: taken, given up, or when to try again."""
    now, tries = timezone.now(), delivery.tries + 1
    values: dict[str, Any] = {"tries": tries, "status": tried.status, "problem": tried.problem[:200]}
    if tried.is_taken:
        values |= {"state": Delivery.State.DELIVERED, "ended_at": now}
    elif tries > len(WAITS_S):
        values |= {"state": Delivery.State.FAILED, "ended_at": now}
    else:
        values |= {"next_at": now + timedelta(seconds=WAITS_S[tries - 1])}
    Delivery.objects.filter(pk=delivery.pk, state=Waiting, tries=delivery.tries).update(**values)


def not_tried(job: Job, message: str) -> None:
    """The worker died three times over it: that was a try that did not work."""
    delivery = Delivery.objects.filter(pk=job.subject, state=Waiting).first()
    if delivery is not None:
        note(delivery, Tried(problem=message))


def try_what_is_due() -> None:
    """Make jobs for deliveries whose time has come and that have none."""
    open_jobs = Job.objects.filter(kind=DELIVER, subject=OuterRef("subject"), state__in=OPEN)
    due = Delivery.objects.filter(state=Waiting, next_at__lte=timezone.now())
    due = due.annotate(subject=Cast("pk", CharField(max_length=40))).exclude(Exists(open_jobs))
    for pk, school_id in due.order_by("next_at").values_list("pk", "webhook__school_id")[:AT_A_TIME]:
        enqueue(DELIVER, pk, school_id)


def forget_old_deliveries() -> None:
    """A chore of the day: what was told stays in the list for a month."""
    Delivery.objects.exclude(state=Waiting).filter(made_at__lt=timezone.now() - KEPT_FOR).delete()


register(
    Handler(
        kind=DELIVER,
        lane=Lane.DELIVER,
        wall_s=60,
        work=deliver,
        failed=not_tried,
        failed_message=NOT_SENT,
    )
)
