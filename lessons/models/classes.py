"""Classes, their teams and students, and the dated lab periods."""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.db.models.functions import Lower
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from makerlab.accounts.models import User


class SchoolClassQuerySet(models.QuerySet["SchoolClass"]):
    def visible_to(self, user: User) -> SchoolClassQuerySet:
        """Teachers see the classes they teach, students their own that are not archived, technicians and administrators
        the school's."""
        classes = self.filter(school_id=user.school_id)
        if user.is_student:
            return classes.filter(memberships__user=user, archived_at__isnull=True)
        if user.is_teacher:
            return classes.filter(teachers=user)
        return classes

    def with_key(self, user: User, sourced_id: str) -> SchoolClassQuerySet:
        """The class of this person's school that has a key of the school's own system, whoever runs it; none without
        a key. It says only that there is one."""
        return self.filter(school_id=user.school_id, sourced_id=sourced_id) if sourced_id else self.none()

    def editable_by(self, user: User) -> SchoolClassQuerySet:
        if user.is_teacher or user.is_administrator:
            return self.visible_to(user)
        return self.none()


class SchoolClass(models.Model):
    """A group of students. ``code`` is what they sign in with."""

    school = models.ForeignKey("accounts.School", on_delete=models.CASCADE, related_name="classes")
    name = models.CharField(max_length=40)
    code = models.CharField(max_length=12, unique=True)
    teachers = models.ManyToManyField(settings.AUTH_USER_MODEL, related_name="classes")
    sourced_id = models.CharField(max_length=255, blank=True)  # the key of the school's own system
    school_year = models.CharField(max_length=9, blank=True, help_text=_("such as 2026-27"))
    term = models.CharField(max_length=40, blank=True)
    joining_open = models.BooleanField(default=True)  # whether students may sign in for the first time with the code
    archived_at = models.DateTimeField(null=True, blank=True)
    created_at = models.DateTimeField(auto_now_add=True)

    objects = SchoolClassQuerySet.as_manager()

    class Meta:
        ordering = ["name"]
        constraints = [
            models.UniqueConstraint(fields=["school", "name"], name="one_class_of_a_name"),
            models.UniqueConstraint(
                fields=["school", "sourced_id"], condition=~models.Q(sourced_id=""), name="one_class_of_a_source"
            ),
        ]

    def __str__(self) -> str:
        return self.name


class TeamQuerySet(models.QuerySet["Team"]):
    def visible_to(self, user: User) -> TeamQuerySet:
        """Students see their own team only."""
        teams = self.filter(school_class__in=SchoolClass.objects.visible_to(user))
        return teams.filter(memberships__user=user) if user.is_student else teams

    def editable_by(self, user: User) -> TeamQuerySet:
        return self.filter(school_class__in=SchoolClass.objects.editable_by(user))


class Team(models.Model):
    """A team of a class and the numbered tray where its finished parts wait."""

    school_class = models.ForeignKey(SchoolClass, on_delete=models.CASCADE, related_name="teams")
    number = models.PositiveSmallIntegerField()
    name = models.CharField(max_length=40)
    tray = models.PositiveSmallIntegerField()

    objects = TeamQuerySet.as_manager()

    class Meta:
        ordering = ["number"]
        constraints = [models.UniqueConstraint(fields=["school_class", "number"], name="one_team_of_a_number")]

    def __str__(self) -> str:
        return _("Team %(number)d, %(name)s") % {"number": self.number, "name": self.name}


class MembershipQuerySet(models.QuerySet["Membership"]):
    def visible_to(self, user: User) -> MembershipQuerySet:
        """Staff see the students of the classes they see; a student the own membership."""
        members = self.filter(school_class__in=SchoolClass.objects.visible_to(user))
        return members.filter(user=user) if user.is_student else members

    def editable_by(self, user: User) -> MembershipQuerySet:
        return self.filter(school_class__in=SchoolClass.objects.editable_by(user))

    def in_use(self, user: User | int) -> MembershipQuerySet:
        """A student's (or the student's number's) places in classes that are not archived, with class and team."""
        mine = self.filter(user=user, school_class__archived_at__isnull=True)
        return mine.select_related("school_class", "team").order_by("school_class__name")


class Membership(models.Model):
    """A student in a class, and in one of its teams. Nicknames are unique within a class. A student may be in several
    classes, with one sign-in for all of them: the code and nickname of any, and the same pictures."""

    school_class = models.ForeignKey(SchoolClass, on_delete=models.CASCADE, related_name="memberships")
    user = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.CASCADE, related_name="memberships")
    team = models.ForeignKey(Team, on_delete=models.SET_NULL, null=True, blank=True, related_name="memberships")
    nickname = models.CharField(max_length=40)
    sourced_id = models.CharField(max_length=255, blank=True)  # the key of the school's own system

    objects = MembershipQuerySet.as_manager()

    class Meta:
        constraints = [
            models.UniqueConstraint("school_class", Lower("nickname"), name="one_nickname_in_a_class"),
            models.UniqueConstraint(fields=["school_class", "user"], name="one_membership_of_a_student_in_a_class"),
            models.UniqueConstraint(
                fields=["school_class", "sourced_id"],
                condition=~models.Q(sourced_id=""),
                name="one_student_of_a_source",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.nickname} in {self.school_class}"


class MeetingQuerySet(models.QuerySet["Meeting"]):
    def visible_to(self, user: User) -> MeetingQuerySet:
        return self.filter(school_class__in=SchoolClass.objects.visible_to(user))

    def editable_by(self, user: User) -> MeetingQuerySet:
        return self.filter(school_class__in=SchoolClass.objects.editable_by(user))

    def coming(self) -> MeetingQuerySet:
        return self.filter(ends_at__gt=timezone.now()).order_by("starts_at")


class Meeting(models.Model):
    """One dated lab period of a class: the deadline of the parts it needs."""

    school_class = models.ForeignKey(SchoolClass, on_delete=models.CASCADE, related_name="meetings")
    starts_at = models.DateTimeField()
    ends_at = models.DateTimeField()
    period = models.CharField(max_length=24, blank=True)
    purpose = models.CharField(max_length=80, default=_("lab day"))

    objects = MeetingQuerySet.as_manager()

    class Meta:
        ordering = ["starts_at"]
        constraints = [
            models.CheckConstraint(
                condition=models.Q(ends_at__gt=models.F("starts_at")), name="a_meeting_ends_after_it_starts"
            )
        ]

    def __str__(self) -> str:
        return f"{self.school_class} {self.starts_at:%Y-%m-%d %H:%M}"
