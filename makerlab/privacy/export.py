"""All that is kept of one student, as one zip: a page of plain values and the files of the team."""

from __future__ import annotations

import json
import tempfile
import zipfile
from typing import IO, Any

from django.core.serializers.json import DjangoJSONEncoder
from django.db.models import QuerySet
from django.utils import timezone

from lessons.models import Argument, Coasting, Mark, Membership, Reading
from makerlab.accounts.models import User
from makerlab.audit.models import Event, record
from printing.models import PrintCopy
from submissions.models import Review, Submission

READ_ME = """Everything Makerlab keeps of one student, for the student, the family or the school.

student.json  nickname, class, team, when they signed in and what they did; the team's parts, what the check found,
              what the teacher decided; readings, coast-downs, argument and marks of the team; prints
files/        the files the team uploaded, as they were uploaded

Work is done in teams, so parts, readings and marks are the team's; "by_this_student" says what this student did.
"""


def _rows(rows: QuerySet[Any], *fields: str) -> list[dict[str, Any]]:
    return list(rows.values(*fields))


def facts_of(member: Membership) -> dict[str, Any]:
    """What is kept of a student, as plain values."""
    person, team = member.user, member.team
    of_team: dict[str, Any] = {"team": team} if team else {"pk__in": []}
    submissions = Submission.objects.filter(**of_team).order_by("pk")
    decisions = Review.objects.filter(submission__in=submissions).order_by("pk")
    copies = PrintCopy.objects.filter(request__team=team) if team else PrintCopy.objects.none()
    return {
        "exported_at": timezone.now(),
        "student": {
            "nickname": member.nickname, "key_of_the_schools_system": member.sourced_id, "added_at": person.created_at,
            "last_signed_in_at": person.last_login, "may_sign_in": person.is_active,
            "wrong_pictures": person.pin_failures, "locked_until": person.pin_locked_until,
        },
        "school": person.school.name,
        "class": member.school_class.name,
        "team": {"number": team.number, "name": team.name, "tray": team.tray} if team else None,
        "parts": [
            {
                "file": f"files/{row.pk}-{row.file_name}", "part": str(row.kit_part), "version": row.version,
                "uploaded_at": row.uploaded_at, "by_this_student": row.uploaded_by_id == person.pk, "state": row.state,
                "handed_in_at": row.handed_in_at, "note": row.hand_in_note, "sha256": row.sha256,
                "verdict": row.verdict, "report": row.report, "mass_g": row.mass_g, "duration_s": row.duration_s,
            }
            for row in submissions.select_related("kit_part")
        ],
        "decisions": _rows(decisions, "submission_id", "decision", "note", "at"),
        "prints": _rows(copies, "request__kit_part__name", "number", "state", "tries", "in_tray_at"),
        "readings": _own(Reading.objects.filter(**of_team), person),
        "coast_downs": _own(Coasting.objects.filter(**of_team), person),
        "argument": _rows(Argument.objects.filter(**of_team), "says", "claim", "evidence", "reasoning"),
        "marks": _rows(Mark.objects.filter(**of_team), "row_name", "level", "comment"),
        "did": _rows(Event.objects.filter(actor=person).order_by("pk"), "at", "verb", "subject_kind", "subject_id"),
        "seen_or_changed_by_staff": _rows(
            Event.objects.filter(subject_kind="membership", subject_id=str(member.pk)).order_by("pk"), "at", "verb"
        ),
    }  # fmt: skip


def _own(rows: QuerySet[Any], person: User) -> list[dict[str, Any]]:
    """Rows a student may have entered, every field, with whether it was this one; no other person's key."""
    hidden = {"entered_by_id", "replaces_id", "assignment_id", "team_id", "id"}
    names = [field.attname for field in rows.model._meta.concrete_fields if field.attname not in hidden]
    return [
        {name: getattr(row, name) for name in names} | {"by_this_student": row.entered_by_id == person.pk}
        for row in rows.order_by("pk")
    ]


def write_zip(actor: User, member: Membership) -> IO[bytes]:
    """The zip, in a temporary file that is gone when it is closed; that it was made stands in the records."""
    file = tempfile.TemporaryFile(prefix="export-")  # noqa: SIM115 - the answer closes it
    with zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("README.txt", READ_ME)
        facts = json.dumps(facts_of(member), cls=DjangoJSONEncoder, ensure_ascii=False, indent=1)
        archive.writestr("student.json", facts)
        for row in Submission.objects.filter(team=member.team) if member.team else []:
            try:
                with row.file.open("rb") as stored, archive.open(f"files/{row.pk}-{row.file_name}", "w") as into:
                    for piece in stored.chunks():
                        into.write(piece)
            except (FileNotFoundError, ValueError):  # gone from the store, or never stored
                archive.writestr(f"files/{row.pk}-missing.txt", "This file is not in the store any more.\n")
    record(member.school_class.school_id, actor, "export_student", member)
    file.seek(0)
    return file
