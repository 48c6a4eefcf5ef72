"""Every status as a tone, a shape of the sprite and a word. Colour never stands alone."""

from __future__ import annotations

from typing import Any, NamedTuple

from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

KINDS = ("good", "care", "bad", "live", "plain")


class Mark(NamedTuple):
    """How a status is drawn: tone (one of KINDS), name of a symbol, words."""

    kind: str
    icon: str
    text: str | Promise


NOT_CHECKED = Mark("plain", "s-unknown", _("not checked"))

VERDICTS: dict[str, Mark] = {
    "ok": Mark("good", "s-pass", _("passes")),
    "advice": Mark("care", "s-advice", _("advice")),
    "must_fix": Mark("bad", "s-fix", _("must fix")),
    "rejected": Mark("bad", "s-fix", _("cannot be read")),
}

LEVELS: dict[str, Mark] = {
    "passes": Mark("good", "s-pass", _("Passes")),
    "advice": Mark("care", "s-advice", _("Advice")),
    "must_fix": Mark("bad", "s-fix", _("Must fix")),
}

CHECKS: dict[str, Mark] = {
    "checking": Mark("live", "s-run", _("checking")),
    "failed": Mark("bad", "s-unknown", _("could not be checked")),
}

SUBMISSIONS: dict[str, Mark] = {
    "draft": Mark("plain", "s-plan", _("not handed in")),
    "handed_in": Mark("live", "s-wait", _("waiting for review")),
    "approved": Mark("good", "s-pass", _("approved")),
    "returned": Mark("bad", "s-back", _("sent back")),
    "replaced": Mark("plain", "s-out", _("replaced by a newer version")),
}

COPIES: dict[str, Mark] = {
    "waiting": Mark("plain", "s-wait", _("waiting")),
    "planned": Mark("plain", "s-plan", _("planned")),
    "printing": Mark("live", "s-run", _("printing")),
    "in_tray": Mark("good", "s-done", _("in the tray")),
    "cancelled": Mark("plain", "s-out", _("no longer wanted")),
}

PLATES: dict[str, Mark] = {
    "planned": Mark("plain", "s-plan", _("planned")),
    "printing": Mark("live", "s-run", _("printing")),
    "cleared": Mark("good", "s-done", _("cleared")),
}

OUTCOMES: dict[str, Mark] = {
    "running": Mark("live", "s-run", _("printing")),
    "finished": Mark("good", "s-done", _("finished")),
    "partly_good": Mark("care", "s-part", _("partly good")),
    "failed": Mark("bad", "s-fix", _("failed")),
    "stopped": Mark("plain", "s-hold", _("stopped by staff")),
}

STEPS: dict[str, Mark] = {
    "done": Mark("done", "s-done", _("done")),
    "now": Mark("now", "s-run", _("now")),
    "next": Mark("next", "s-wait", _("still to come")),
    "bad": Mark("bad", "s-back", _("needs you")),
}

# what a message of django.contrib.messages looks like, by its level
MESSAGES: dict[str, Mark] = {
    "debug": Mark("plain", "help", ""),
    "info": Mark("live", "help", ""),
    "success": Mark("good", "s-pass", ""),
    "warning": Mark("care", "s-advice", ""),
    "error": Mark("bad", "s-fix", ""),
}


def of_submission(submission: Any) -> Mark:
    """Where a submission stands: the check first while it is not done, then the state."""
    return CHECKS.get(submission.check_state) or SUBMISSIONS[submission.state]


def of_copy(state: str, tray: int | None = None) -> Mark:
    """Where one copy stands; with the tray's number when it lies there."""
    if state == "in_tray" and tray:
        return COPIES[state]._replace(text=_("in tray %(number)s") % {"number": tray})
    return COPIES[state]
