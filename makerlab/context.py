"""What every page needs: the demo's line, who is signed in, and the way to the other pages by role."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from django.conf import settings
from django.http import HttpRequest
from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

from lessons.classes.members import places_of
from lessons.models import Membership
from makerlab.accounts.models import Role, User
from makerlab.district.permissions import can_run_district
from makerlab.http import counted
from submissions.models import Submission
from submissions.queries import REVIEWS_WAITING
from submissions.states import State

SAFE = ("GET", "HEAD")  # such a request does nothing


@dataclass(frozen=True, slots=True)
class Place:
    """One entry of the main navigation. ``also`` are the pages that lie behind it, by URL name."""

    url_name: str
    icon: str
    label: str | Promise
    also: tuple[str, ...] = ()
    badge: Callable[[User, bool], int] | None = None


def waiting_for_review(user: User, as_read: bool = False) -> int:
    """How many parts wait for this person's decision. ``as_read``: as it was when the person was read, which holds
    while nothing is done."""
    told = getattr(user, REVIEWS_WAITING, None)
    if as_read and told is not None:
        return int(told)
    return Submission.objects.editable_by(user).filter(state=State.HANDED_IN).count()


PARTS = Place("submissions:part-list", "part", _("My parts"), ("submissions:submission-report",))
TODAY = Place("printing:today", "today", _("Today"))
REVIEW = Place(
    "submissions:review-list",
    "review",
    _("Review"),
    ("submissions:review-desk", "submissions:submission-report"),
    waiting_for_review,
)
QUEUE = Place("printing:request-list", "layers", _("Queue"))
PLAN = Place("printing:room-plan", "plan", _("Room plan"))
BENCH = Place("printing:bench", "bench", _("Bench"))
SPOOLS = Place("printing:spool-list", "spool", _("Spools"))
LESSONS = Place(
    "lessons:plan-list",
    "lesson",
    _("Lessons"),
    (
        "lessons:plan-detail",
        "printing:plan-give",
    ),
)

CLASSES = Place(
    "lessons:class-list",
    "class",
    _("Classes"),
    (
        "lessons:class-detail",
        "lessons:class-new",
        "lessons:class-edit",
        "lessons:class-teams",
        "lessons:class-import",
        "lessons:class-cards",
        "lessons:class-sign",
        "lessons:class-meetings",
        "lessons:package-import",
        "lessons:student-detail",
        "lessons:meeting-detail",
        "lessons:day-list",
        "lessons:day-edit",
        "lessons:kind-new",
        "printing:readiness-week",
        "printing:meeting-readiness",
        "printing:print-outs",
    ),
)
LAB = Place(
    "lessons:lab-list",
    "lab",
    _("Lab day"),
    tuple(f"lessons:lab-{page}" for page in ("sheet", "board", "physics", "argument", "paper")),
)

SCHOOL = Place(
    "printing:set-up",
    "gear",
    _("School"),
    (
        "printing:room-new",
        "printing:room-edit",
        "printing:printer-new",
        "printing:printer-edit",
        "printing:kind-new",
        "printing:kind-edit",
        "accounts:people",
        "privacy:keeping",
        "privacy:records",
        "access:token-list",
        "access:webhook-list",
    ),
)

PLACES: dict[str, tuple[Place, ...]] = {
    Role.STUDENT: (PARTS, LAB, LESSONS),
    Role.TEACHER: (TODAY, REVIEW, QUEUE, PLAN, LAB, CLASSES, LESSONS),
    Role.TECHNICIAN: (BENCH, PLAN, SPOOLS, LESSONS),
    Role.ADMINISTRATOR: (TODAY, REVIEW, QUEUE, PLAN, BENCH, SPOOLS, LAB, CLASSES, LESSONS, SCHOOL),
}
DISTRICT = Place("district:school-list", "district", _("District"), ("district:school-new", "district:school-store"))


class Navigation:
    """The places of one person, made only when a page draws them: fragments pay nothing."""

    def __init__(self, request: HttpRequest, user: User) -> None:
        self.request, self.user = request, user

    def places(self) -> list[dict[str, Any]]:
        """Each place with whether it is the current page and how many things wait there."""
        match = self.request.resolver_match
        here = match.view_name if match else ""
        return [
            {
                "url_name": place.url_name,
                "icon": place.icon,
                "label": place.label,
                "here": here == place.url_name or here in place.also,
                "count": self._count(place),
            }
            for place in self._places()
        ]

    def _places(self) -> tuple[Place, ...]:
        usual = PLACES[self.user.role]
        return (*usual, DISTRICT) if can_run_district(self.user) else usual

    def _count(self, place: Place) -> int:
        """How many things wait there; a page that has counted them is not made to count again (makerlab.http)."""
        if place.badge is None:
            return 0
        known = counted(self.request).get(place.url_name)
        return place.badge(self.user, self.request.method in SAFE) if known is None else known

    def who(self) -> dict[str, Any]:
        """Name and what the person is here: a student's team and class, else the role."""
        user = self.user
        if not user.is_student:
            return {"name": user.display_name, "note": user.get_role_display()}
        read = getattr(self.request, "memberships", None)
        places: list[Membership] = places_of(user.pk) if read is None else read
        if len(places) != 1:
            classes = ", ".join(str(place.school_class) for place in places)
            return {"name": user.display_name, "note": classes or user.get_role_display()}
        (member,) = places
        team = _("Team %(number)s") % {"number": member.team.number} + ", " if member.team else ""
        return {"name": member.nickname, "note": f"{team}{member.school_class}"}


def page(request: HttpRequest) -> dict[str, Any]:
    """For base.html: ``demo``, ``languages`` by their own names, and for who is signed in ``navigation`` (its methods
    run when drawn)."""
    user = getattr(request, "user", None)
    found: dict[str, Any] = {"demo": settings.DEMO, "languages": settings.LANGUAGES}
    if user is not None and user.is_authenticated:
        found["navigation"] = Navigation(request, user)
    return found
