"""What a token may be used for. A scope opens an address; what is found there is what the token's owner may see."""

from __future__ import annotations

from django.db import models
from django.utils.translation import gettext_lazy as _

from makerlab.accounts.models import Role, User


class Scope(models.TextChoices):
    """One word for the data, one for reading or writing."""

    SUBMISSIONS_READ = "submissions:read", _("read parts and their reports")
    SUBMISSIONS_WRITE = "submissions:write", _("upload, approve and send back parts")
    QUEUE_READ = "queue:read", _("read the queue")
    QUEUE_WRITE = "queue:write", _("move and cancel print requests")
    PLAN_READ = "plan:read", _("read the room plan")
    RUNS_READ = "runs:read", _("read runs")
    RUNS_WRITE = "runs:write", _("report how a run went")
    LAB_READ = "lab:read", _("read lab results")
    LAB_WRITE = "lab:write", _("enter lab readings")


# what the actions behind a scope allow that role at all: offering more would promise what is refused later
OF_ROLE: dict[str, frozenset[Scope]] = {
    Role.TEACHER: frozenset(set(Scope) - {Scope.RUNS_WRITE}),
    Role.TECHNICIAN: frozenset(
        {
            Scope.SUBMISSIONS_READ,
            Scope.QUEUE_READ,
            Scope.PLAN_READ,
            Scope.RUNS_READ,
            Scope.RUNS_WRITE,
            Scope.LAB_READ,
        }
    ),
    Role.ADMINISTRATOR: frozenset(Scope),
}


def scopes_for(user: User) -> list[Scope]:
    """The scopes this person's tokens may have, in order; none for students."""
    return [scope for scope in Scope if scope in OF_ROLE.get(user.role, frozenset())]
