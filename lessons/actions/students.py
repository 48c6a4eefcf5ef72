"""Students of a class: add, rename, move, remove, and give new pictures to sign in with."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass

from django.contrib.auth.hashers import make_password
from django.db import transaction
from django.utils.translation import gettext as _

from lessons.actions.classes import locked
from lessons.actions.refusals import ChangedMeanwhile, NotPossible
from lessons.classes.codes import hashed, new_pin
from lessons.classes.members import members_of, pins_seen
from lessons.models import Membership, SchoolClass, Team
from lessons.rosters import Problem, names
from makerlab.accounts.models import User
from makerlab.audit.models import record


@dataclass(frozen=True, slots=True)
class JoinCard:
    """What a student gets on paper. The pictures are nowhere else: the database keeps a hash only."""

    nickname: str
    team: str
    pictures: tuple[str, ...]


@transaction.atomic
def add_student(user: User, school_class: SchoolClass, nickname: str, team: Team | None = None) -> Membership:
    """A new student, who signs in once a join card is made for them. Raises NotPossible."""
    school_class = locked(user, school_class)
    nickname = checked_nickname(school_class, nickname)
    if team is not None and team.school_class_id != school_class.pk:
        raise NotPossible(_("That team is of another class."), "team")
    member = create_member(school_class, nickname, team)
    record(user.school_id, user, "add_student", member, school_class=school_class.pk)
    return member


def create_member(school_class: SchoolClass, nickname: str, team: Team | None, sourced_id: str = "") -> Membership:
    """The row of a student and their sign-in, without pictures yet; one whom the school's system names in another class
    here (``sourced_id``) keeps the sign-in there is. The class is locked by the caller."""
    person = known_students(school_class, [sourced_id]).get(sourced_id)
    person = person or User.objects.create_student(school_class.school, nickname)
    return Membership.objects.create(
        school_class=school_class, user=person, team=team, nickname=nickname, sourced_id=sourced_id
    )


def known_students(school_class: SchoolClass, sourced_ids: Collection[str]) -> dict[str, User]:
    """Students of the school who are in other classes under these keys of the school's system, by key."""
    wanted = [key for key in sourced_ids if key]
    places = Membership.objects.filter(school_class__school_id=school_class.school_id, sourced_id__in=wanted)
    others = places.exclude(school_class=school_class).filter(user__is_active=True).select_related("user")
    inside = set(school_class.memberships.values_list("user_id", flat=True)) if wanted else set()
    return {place.sourced_id: place.user for place in others.order_by("-pk") if place.user_id not in inside}


@transaction.atomic
def rename_student(user: User, member: Membership, nickname: str) -> None:
    """Another nickname, also for signing in. Raises NotPossible."""
    school_class = locked(user, member.school_class)
    nickname = checked_nickname(school_class, nickname, member)
    write_nickname(member, nickname)
    record(user.school_id, user, "rename_student", member)


def write_nickname(member: Membership, nickname: str) -> None:
    Membership.objects.filter(pk=member.pk).update(nickname=nickname)
    User.objects.filter(pk=member.user_id).update(display_name=nickname)


@transaction.atomic
def move_student(user: User, member: Membership, into: SchoolClass) -> None:
    """Into another class of this teacher, without a team there. The pictures stay, the class code is the new one; what
    the old team handed in stays with the old team."""
    old, new = (locked(user, each) for each in sorted((member.school_class, into), key=lambda each: each.pk))
    if old.pk == new.pk:
        return
    _check_can_join(member, into)
    before = member.school_class_id
    Membership.objects.filter(pk=member.pk).update(school_class=into, team=None)
    record(user.school_id, user, "move_student", member, before=before, after=into.pk)


@transaction.atomic
def put_into_class_too(user: User, member: Membership, into: SchoolClass) -> Membership:
    """Into another class of this teacher as well, without a team there: one sign-in for both, the pictures stay. Raises
    NotPossible."""
    old, new = (locked(user, each) for each in sorted((member.school_class, into), key=lambda each: each.pk))
    if old.pk == new.pk:
        return member
    _check_can_join(member, into)
    made = Membership.objects.create(
        school_class=into, user_id=member.user_id, nickname=member.nickname, sourced_id=member.sourced_id
    )
    record(user.school_id, user, "put_into_class_too", made, beside=member.school_class_id, school_class=into.pk)
    return made


def _check_can_join(member: Membership, into: SchoolClass) -> None:
    """Raises NotPossible."""
    if into.archived_at:
        raise NotPossible(_("%(class)s is archived.") % {"class": into}, "into")
    if into.memberships.filter(user_id=member.user_id).exists():
        words = {"name": member.nickname, "class": into}
        raise NotPossible(_("%(name)s is in %(class)s already.") % words, "into")
    checked_nickname(into, member.nickname, member)
    if member.sourced_id and into.memberships.filter(sourced_id=member.sourced_id).exists():
        raise NotPossible(_("The school's system lists this student in %(class)s already.") % {"class": into}, "into")


@transaction.atomic
def remove_student(user: User, member: Membership) -> None:
    """Out of the class. The sign-in ends at once, unless the student is in another class too; the team's work stays,
    also what this student uploaded."""
    school_class = locked(user, member.school_class)
    found = Membership.objects.filter(pk=member.pk, school_class=school_class).first()
    if found is None:
        raise ChangedMeanwhile(_("This student is no longer in the class."))
    remove_member(user, found)


def remove_member(user: User, member: Membership) -> None:
    """The class is locked by the caller."""
    record(user.school_id, user, "remove_student", member, school_class=member.school_class_id)
    person = member.user_id
    member.delete()
    if Membership.objects.filter(user=person).exists():
        return
    User.objects.filter(pk=person).update(is_active=False, pin="", password=make_password(None))


def renew_pins(user: User, school_class: SchoolClass, chosen: Collection[int], seen: str) -> list[JoinCard]:
    """New pictures for these students (keys of memberships). They are told here and never again; sessions under the old
    ones end. ``seen``: what ``pins_seen`` said when the page was made, so that a page sent twice makes no second set.
    Raises NotPossible, ChangedMeanwhile."""
    members = [member for member in members_of(school_class) if member.pk in chosen]
    if not members:
        raise NotPossible(_("Tick who gets a card."))
    pins = [new_pin() for _member in members]
    stored = hashed(pins)  # slow on purpose, so before anything is locked
    with transaction.atomic():
        school_class = locked(user, school_class)
        members_now = members_of(school_class)
        if pins_seen(members_now) != seen:
            told = _("Cards of this class were made after you opened this page. Tick again who needs a new one.")
            raise ChangedMeanwhile(told)
        for member, pin in zip(members, stored, strict=True):
            User.objects.filter(pk=member.user_id).update(
                pin=pin, pin_failures=0, pin_locked_until=None, password=make_password(None)
            )
        record(user.school_id, user, "make_join_cards", school_class, students=[member.pk for member in members])
    return [
        JoinCard(member.nickname, str(member.team) if member.team else "", pin)
        for member, pin in zip(members, pins, strict=True)
    ]


def checked_nickname(school_class: SchoolClass, nickname: str, itself: Membership | None = None) -> str:
    """The nickname as it is kept. Raises NotPossible for one that cannot be, or that somebody in the class has."""
    nickname = names.clean(nickname)
    code = names.fault(nickname)
    others = school_class.memberships.exclude(pk=itself.pk if itself else 0).values_list("nickname", flat=True)
    if not code and names.key(nickname) in {names.key(other) for other in others}:
        code = "taken"
    if code:
        problem = Problem(code, found=nickname)
        raise NotPossible(_(problem.sentence) % {"found": problem.found}, "nickname")
    return nickname
