"""What printing does when a part is approved or withdrawn. Runs in the transaction of the approval itself."""

from __future__ import annotations

from typing import Any

from django.dispatch import receiver

from makerlab.accounts.models import User
from printing import actions
from submissions.models import Submission
from submissions.signals import approved, withdrawn


@receiver(approved, dispatch_uid="printing.order_kit")
def order(sender: Any, submission: Submission, user: User | None = None, **_rest: Any) -> None:
    actions.order_kit(submission, user)


@receiver(withdrawn, dispatch_uid="printing.cancel_submission")
def cancel(sender: Any, submission: Submission, user: User | None = None, **_rest: Any) -> None:
    actions.cancel_submission(submission, user)
