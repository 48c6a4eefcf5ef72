"""Where a submission can go from where it stands: one table, read by actions, pages and tests."""

from __future__ import annotations

from django.db import models
from django.utils.translation import gettext_lazy as _


class State(models.TextChoices):
    """A draft is uploaded but not handed in; ``replaced`` when a newer version of the design was handed in."""

    DRAFT = "draft", _("not handed in")
    HANDED_IN = "handed_in", _("waiting for review")
    APPROVED = "approved", _("approved")
    RETURNED = "returned", _("sent back")
    REPLACED = "replaced", _("replaced by a newer version")


TRANSITIONS: dict[tuple[str, str], str] = {
    (State.DRAFT, "hand_in"): State.HANDED_IN,
    (State.HANDED_IN, "take_back"): State.DRAFT,
    (State.HANDED_IN, "approve"): State.APPROVED,
    (State.HANDED_IN, "return"): State.RETURNED,
    (State.HANDED_IN, "replace"): State.REPLACED,
    (State.APPROVED, "return"): State.RETURNED,
    (State.APPROVED, "undo"): State.HANDED_IN,  # soon after, by the same person, while nothing of it is printing
    (State.APPROVED, "replace"): State.REPLACED,
}


class NotAllowedNow(Exception):
    """The submission does not stand where this step may be taken. The message is shown to people."""


def after(state: str, step: str) -> str:
    """The state after a step. Raises NotAllowedNow with a plain sentence when the step is not possible."""
    try:
        return TRANSITIONS[(state, step)]
    except KeyError:
        label = State(state).label
        raise NotAllowedNow(_("This part is %(state)s now, so that cannot be done.") % {"state": label}) from None


def can_step(state: str, step: str) -> bool:
    """Whether the step is possible from that state."""
    return (state, step) in TRANSITIONS
