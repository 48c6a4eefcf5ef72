"""Real deletion: a student, a class, what is past its time. Rows, files, pictures, sessions, jobs, and what the
records say of it. What is gone comes back only from a backup, and backups run out by themselves (docs/keeping.md).
"""

from __future__ import annotations

from collections.abc import Iterable

from django.contrib.sessions.models import Session
from django.core.exceptions import PermissionDenied
from django.db import connection, transaction
from django.utils.translation import gettext as _

from lessons.models import Argument, Assignment, Coasting, Mark, Membership, Reading, SchoolClass, Team
from lessons.stored import files_of
from makerlab.accounts.models import Role, School, User
from makerlab.audit.models import record
from makerlab.privacy.scrubbing import forget_in_records, take_out
from makerlab.work.models import Job
from printing.actions.ground import touch, want_plan
from printing.models import Plate, PreparedFile, PrintCopy, PrintRequest, Room, Run, WhatIf
from printing.states import CopyState, PlateState
from submissions.models import Submission
from submissions.queries import JOB_KIND


class NotPossible(ValueError):
    """It cannot be deleted now; the message says why and what to do."""


def erase_student(actor: User | None, person: User) -> None:
    """Everything that names one student, in all classes, and the work of teams nobody else is in. ``actor`` None: its
    time is over.

    A team with others keeps its parts and readings, without the name. Raises PermissionDenied, NotPossible."""
    members = list(Membership.objects.select_related("school_class", "team").filter(user=person))
    _may(actor, person, members)
    with transaction.atomic(), files_of(person.school_id):
        school = School.objects.select_for_update(no_key=True).get(pk=person.school_id)
        uploads = list(Submission.objects.filter(uploaded_by=person).only("pk", "version", "file_name"))
        gone: list[Submission | User | Membership | Team] = [person, *members]
        for member in members:
            if member.team and not member.team.memberships.exclude(pk=member.pk).exists():
                gone += [member.team, *_erase_work(school, Team.objects.filter(pk=member.team.pk))]
        for upload in Submission.objects.filter(pk__in=[upload.pk for upload in uploads]):
            neutral = f"part-{upload.version}.{upload.file_name.rpartition('.')[2][:4]}"
            report = {**upload.report, "file": neutral} if upload.report else None
            Submission.objects.filter(pk=upload.pk).update(file_name=neutral, report=report)
        for member in members:
            take_out(member.nickname, member.school_class)
        if not members and uploads:
            for school_class in SchoolClass.objects.filter(assignments__submissions__in=uploads).distinct():
                take_out(person.display_name, school_class)
        forget_in_records(school, [*gone], [person.display_name])
        end_sessions([person.pk])
        person.delete()
        record(school.pk, actor, "erase_student", school, by_time=actor is None)
    shrink()


def erase_class(actor: User | None, school_class: SchoolClass) -> None:
    """A class with its students, teams and all they made; who is in another class too stays there.

    ``actor`` None: its time is over. Raises PermissionDenied for everybody but an administrator, NotPossible while
    something of it prints."""
    with transaction.atomic():
        end_sessions(take_out_class(actor, school_class))
    shrink()


def take_out_class(actor: User | None, school_class: SchoolClass) -> list[int]:
    """``erase_class`` but for the sessions of those who went, for which it returns their keys: whoever takes out many
    classes reads all sessions once. A session whose person is gone opens nothing."""
    if actor is not None and not (actor.is_administrator and actor.school_id == school_class.school_id):
        raise PermissionDenied
    with transaction.atomic(), files_of(school_class.school_id):
        school = School.objects.select_for_update(no_key=True).get(pk=school_class.school_id)
        there = list(school_class.memberships.values_list("user", flat=True))
        elsewhere = Membership.objects.filter(user__in=there).exclude(school_class=school_class).values("user")
        people = list(User.objects.filter(pk__in=there).exclude(pk__in=elsewhere))
        teams = list(school_class.teams.all())
        meetings, assignments = list(school_class.meetings.all()), list(school_class.assignments.all())
        gone = [school_class, *people, *school_class.memberships.all(), *teams, *meetings, *assignments]
        gone += _erase_work(school, school_class.teams.all())
        _erase_requests(school, PrintRequest.objects.filter(assignment__in=assignments))
        names = [person.display_name for person in people]
        forget_in_records(school, gone, names)
        Assignment.objects.filter(pk__in=[row.pk for row in assignments]).delete()
        number, keys = school_class.pk, [person.pk for person in people]
        school_class.delete()
        User.objects.filter(pk__in=keys).delete()
        record(school.pk, actor, "erase_class", school, students=len(people), number=number, by_time=actor is None)
    return keys


def _may(actor: User | None, person: User, members: list[Membership]) -> None:
    """A teacher only where all of the student's classes are theirs."""
    if person.role != Role.STUDENT:
        raise PermissionDenied
    if actor is None:
        return
    if actor.is_administrator and actor.school_id == person.school_id:
        return
    own = Membership.objects.editable_by(actor).filter(pk__in=[member.pk for member in members]).count()
    if not members or own != len(members):
        raise PermissionDenied


def _erase_work(school: School, teams: Iterable[Team]) -> list[Submission]:
    """Parts, prints and readings of teams; the teams stay. Returns the submissions that went."""
    _erase_requests(school, PrintRequest.objects.filter(team__in=teams))
    submissions = list(Submission.objects.filter(team__in=teams).only("pk", "file", "shown", "file_name"))
    keys = [str(submission.pk) for submission in submissions]
    Job.objects.filter(school=school, subject__in=keys, kind=JOB_KIND).delete()
    for model in (Reading, Coasting, Argument, Mark):
        model._default_manager.filter(team__in=teams).delete()
    Submission.objects.filter(team__in=teams).delete()
    return submissions


def _erase_requests(school: School, requests: Iterable[PrintRequest]) -> None:
    """What stands in the queue, lies on plates and ran for somebody. Runs stay as figures of a printer, without notes
    and without saying whose parts they were."""
    copies = PrintCopy.objects.filter(request__in=requests)
    if copies.filter(state=CopyState.PRINTING).exists():
        raise NotPossible(_("Something of this is printing now. Clear the printer first, then delete."))
    plates = list(Plate.objects.filter(copies__in=copies).distinct().values_list("pk", flat=True))
    rooms = list(Room.objects.filter(requests__in=requests).distinct())
    for room in rooms:
        touch(room.pk)
    Run.objects.filter(plate__in=plates).update(note="")
    PreparedFile.objects.filter(plate__in=plates).delete()
    PrintRequest.objects.filter(pk__in=[request.pk for request in requests]).delete()
    Plate.objects.filter(pk__in=plates, state=PlateState.PLANNED, copies__isnull=True).delete()
    WhatIf.objects.filter(room__in=rooms).delete()
    for room in rooms:
        want_plan(room)


def end_sessions(people: Iterable[int]) -> None:
    """Delete the sessions of these people, also those that have run out."""
    wanted = {str(pk) for pk in people}
    keys = [row.pk for row in Session.objects.iterator() if row.get_decoded().get("_auth_user_id") in wanted]
    Session.objects.filter(pk__in=keys).delete()


def shrink() -> None:
    """Let SQLite's log forget what was deleted: pages are zeroed (secure_delete), the log is emptied."""
    if connection.vendor == "sqlite" and not connection.in_atomic_block:
        with connection.cursor() as cursor:
            cursor.execute("PRAGMA wal_checkpoint(TRUNCATE)")
