"""By which indexes PostgreSQL finds the rows of what is asked most.

A program: ``python -m tests.makerlab.hot_questions`` fills the empty database of DATABASE_URL and prints as JSON, for
each question, the index meant for it, those that are used, and whether a table is read from end to end. Nothing is
timed: plans are read, on some thousands of rows of two schools.
"""

from __future__ import annotations

import json
import os
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import timedelta
from typing import Any

ROWS = (
    """INSERT INTO work_job (kind, lane, subject, school_id, payload, priority, turn, state, attempt, worker, progress,
    error, created_at, started_at, finished_at, lease_until)
    SELECT 'check-submission', 'measure', g::text, s.id, '{}', 0, g, CASE WHEN g % 20 = 0 THEN 'waiting'
    WHEN g % 21 = 0 THEN 'running' ELSE 'done' END, 0, '', 0, '', now(), now(), now() - g * interval '1 hour', now()
    FROM accounts_school AS s, generate_series(1, 100) AS g""",
    """INSERT INTO audit_event (school_id, actor_id, verb, subject_kind, subject_id, facts, at)
    SELECT s.id, NULL, 'v' || g % 20, 'submission', g::text, '{}', now() - g * interval '1 hour'
    FROM accounts_school AS s, generate_series(1, 2000) AS g""",
    """INSERT INTO django_session SELECT lpad(g::text, 32, '0'), 'x', now() + (4000 - g) * interval '1 minute'
    FROM generate_series(1, 4050) AS g""",
    """INSERT INTO printing_roomplan (room_id, made_at, seconds, plates, late_kits, tardiness_min, facts, causes)
    SELECT r.id, now(), 1, 1, 0, 0, to_jsonb(repeat('facts', 300)), '[]'
    FROM printing_room AS r, generate_series(1, 200)""",
    """INSERT INTO submissions_submission (assignment_id, kit_part_id, team_id, version, state, uploaded_at,
    hand_in_note, file, file_name, file_bytes, sha256, unit, check_state, check_error, verdict, picture, copies_in_file,
    design_volume_mm3)
    SELECT a.id, p.id, t.id, g, CASE WHEN g % 10 = 0 THEN 'handed_in' ELSE 'replaced' END, now(), '',
    'parts/' || md5(g::text || p.id || t.id), 'a.stl', 1, md5(g::text || p.id), '', 'checked', '', 'ok', '', 1, g
    FROM lessons_assignment AS a, lessons_kitpart AS p, lessons_team AS t, generate_series(1, 80) AS g""",
    "VACUUM (ANALYZE)",
)


@dataclass(frozen=True)
class Hot:
    """A question that is asked often, or of very many rows; its table; and the index meant for it, by the beginning of
    its name."""

    ask: Callable[[], object]
    table: str
    index: str


SCHOOLS, PLATES = 40, 60


def many(world: Any) -> None:
    """Other schools with a room, a class and a lesson given to it; what every room has printed."""
    from django.db import connection

    from lessons.models import Assignment, Meeting, SchoolClass
    from makerlab.accounts.models import School
    from printing.models import Printer, Room

    at = {"starts_at": world.meeting.starts_at, "ends_at": world.meeting.ends_at}
    for number in range(SCHOOLS):
        school = School.objects.create(name=f"School {number}")
        room = Room.objects.create(school=school, name="room")
        Printer.objects.create(room=room, kind=world.printers[0].kind, name="Wren", icon="b-wren")
        school_class = SchoolClass.objects.create(school=school, name="7B", code=f"S{number}")
        Assignment.objects.create(
            plan=world.plan, school_class=school_class, meeting=Meeting.objects.create(school_class=school_class, **at),
            upload_by=world.assignment.upload_by,
        )  # fmt: skip
    for printer in [*world.printers, *Printer.objects.exclude(room=world.room)]:
        _printed(printer)
    with connection.cursor() as cursor:
        for sql in ROWS:
            cursor.execute(sql)


def _printed(printer: Any) -> None:
    from django.utils import timezone

    from printing.models import Plate, Run

    now, kept = timezone.now(), {"bed_width_mm": 220.0, "bed_depth_mm": 220.0, "mass_g": 9.0, "material": "PLA"}
    plates = Plate.objects.bulk_create(
        Plate(room=printer.room, number=100 * printer.pk + number, state="cleared", colour="white", **kept)
        for number in range(PLATES)
    )
    Run.objects.bulk_create(
        Run(
            plate=plate, printer=printer, outcome="finished", started_at=now - timedelta(days=place),
            expected_end_at=now, ended_at=now - timedelta(days=place), estimate_s=60.0, estimate_g=9.0,
        )
        for place, plate in enumerate(plates)
    )  # fmt: skip


def hot_questions(world: Any) -> dict[str, Hot]:
    """What workers, pages and daily chores ask of the tables that grow with the schools, and years."""
    from django.contrib.sessions.models import Session
    from django.utils import timezone

    from lessons.stored import _named_by, rows_of, stored_by
    from makerlab.accounts.backends import StaffBackend
    from makerlab.audit.models import Event
    from makerlab.work import actions, line
    from makerlab.work.models import Job
    from printing import queries as printing
    from printing.models import Room
    from submissions import queries
    from submissions.look_alikes import look_alikes
    from submissions.models import Submission
    from tests.submissions.make import report

    school, job = world.school.pk, Job.objects.filter(state=Job.State.WAITING).first()
    part = Submission.objects.filter(team=world.team, kit_part=world.wheel).first()
    part.report = report(signature={"volume_mm3": 300.0, "area_mm2": 1.0, "gyration_mm": [1.0, 1.0, 1.0]})
    rooms = Room.objects.filter(school=world.school)
    events, now = Event.objects.filter(school=world.school), timezone.now()
    long_ago = now - timedelta(days=80)

    waiting = "submission_waiting_for_review"
    parts, jobs, plans, records = "submissions_submission", "work_job", "printing_roomplan", "audit_event"
    return {
        "claim": Hot(lambda: actions.claim("measure"), jobs, "work_job_state_3b0768_idx"),
        "place in line": Hot(lambda: line.place_in_line(job), jobs, "work_job_state_3b0768_idx"),
        "next turn": Hot(lambda: actions.next_turn("measure", 0, school), jobs, "work_job_school__129872_idx"),
        "pace of a lane": Hot(lambda: line.mean_time("measure"), jobs, "work_job_lane_81b1b1_idx"),
        "check of an upload": Hot(lambda: queries.check_job(part), jobs, "work_job_kind_e2b7c6_idx"),
        "who else has a file": Hot(lambda: list(_named_by(Submission, ["parts/a"])), parts, "submission_of_a_file"),
        "same bytes in the school": Hot(
            lambda: list(rows_of(Submission, school).filter(sha256=part.sha256, file_bytes=1)),
            parts, "submissions_submission_sha256_",
        ),
        "bytes of a school": Hot(lambda: stored_by(school), parts, "submission_stored_bytes"),
        "same design": Hot(lambda: look_alikes(part, world.administrator), parts, "submission_of_a_design"),
        "pile of reviews": Hot(lambda: list(queries.review_pile(world.teacher)), parts, waiting),
        "who is signed in": Hot(lambda: StaffBackend().get_user(world.administrator.pk), parts, waiting),
        "newest plan": Hot(lambda: printing.newest_plan(world.room), plans, "newest_plan_of_a_room"),
        "newest plans": Hot(lambda: printing.newest_plans(rooms), plans, "newest_plan_of_a_room"),
        "what prints, and has today": Hot(
            lambda: printing.plates_and_runs(world.room, now), "printing_run", "run_of_a_printer_ended"
        ),
        "records past their time": Hot(lambda: list(events.filter(at__lt=long_ago)), records, "event_of_school_at"),
        "verbs of a school": Hot(
            lambda: list(events.order_by("verb").values_list("verb").distinct()), records, "event_of_school_verb"
        ),
        "sessions that ran out": Hot(
            lambda: list(Session.objects.filter(expire_date__lt=now)), "django_session", "django_session_expire_date"
        ),
    }  # fmt: skip


def used(hot: Hot) -> tuple[list[str], bool]:
    """The indexes by which the question looks its rows up, and whether its table is read from end to end."""
    from django.db import connection
    from django.test.utils import CaptureQueriesContext

    with CaptureQueriesContext(connection) as captured:
        hot.ask()
    asked = [one["sql"] for one in captured if hot.table in one["sql"] and one["sql"].startswith(("SELECT", "UPDATE"))]
    names, whole = set(), False
    with connection.cursor() as cursor:
        for sql in asked:
            cursor.execute(f"EXPLAIN (FORMAT JSON) {sql}")
            told = cursor.fetchone()[0]
            for node in _nodes((json.loads(told) if isinstance(told, str) else told)[0]["Plan"]):
                whole |= node.get("Relation Name") == hot.table and node["Node Type"] == "Seq Scan"
                if "Index Cond" in node:
                    names.add(node["Index Name"])
    return sorted(names), whole


def _nodes(plan: dict[str, Any]) -> Iterator[dict[str, Any]]:
    yield plan
    for inner in plan.get("Plans", []):
        yield from _nodes(inner)


def main() -> dict[str, Any]:
    import django

    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "makerlab.settings")
    django.setup()
    from django.core.management import call_command
    from django.db import transaction

    from tests.world import make_world

    call_command("migrate", verbosity=0)
    world = make_world()
    many(world)
    told: dict[str, Any] = {}
    for name, hot in hot_questions(world).items():
        with transaction.atomic():
            indexes, whole = used(hot)
            transaction.set_rollback(True)
        told[name] = {"meant": hot.index, "used": indexes, "whole": whole}
    return told


if __name__ == "__main__":
    print(json.dumps(main()))
