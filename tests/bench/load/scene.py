"""Makes a school at the morning bell in the database of the environment: four classes of thirty, each with something to
upload. Run as a program; prints how everybody gets in."""

from __future__ import annotations

import json
import sys
from datetime import timedelta
from random import Random
from typing import Any

import django

from tests.bench.load.asked import asked
from tests.bench.load.files import LEAST_BYTES, file_of

CLASSES, STUDENTS, TEAMS = 4, 30, 10
NAMES = ("Ada", "Bo", "Cy", "Di", "Ed", "Flo", "Gus", "Hal", "Ida", "Jo")


def main() -> dict[str, Any]:
    django.setup()
    from django.conf import settings
    from django.core.management import call_command
    from django.test import Client
    from django.urls import reverse
    from django.utils import timezone

    from lessons.models import Assignment, Meeting
    from lessons.views.sign_in import STUDENT_BACKEND
    from tests.submissions.make import make_submission
    from tests.world import PASSWORD, PIN, make_class, make_student, make_world

    call_command("migrate", verbosity=0)
    world = make_world()
    students, cookies = [], {}
    for number in range(CLASSES):
        school_class = make_class(world.school, f"8-{number}", world.teacher, TEAMS)
        start = timezone.now().replace(second=0, microsecond=0) + timedelta(days=4)
        meeting = Meeting.objects.create(
            school_class=school_class, starts_at=start, ends_at=start + timedelta(minutes=50), period="3"
        )
        assignment = Assignment.objects.create(
            plan=world.plan, school_class=school_class, meeting=meeting, created_by=world.teacher,
            upload_by=timezone.now() + timedelta(days=2),
        )  # fmt: skip
        teams = list(school_class.teams.all())
        for place in range(STUDENTS):
            nickname = f"{NAMES[place % len(NAMES)]} {place // len(NAMES) + 1}"
            team = teams[place % TEAMS]
            user = make_student(school_class, team, nickname)
            if place < TEAMS:  # a team's first version waits for the teacher: its page keeps itself up to date
                make_submission(world, assignment=assignment, team=team, uploaded_by=user, state="handed_in")
            client = Client()
            client.force_login(user, backend=STUDENT_BACKEND)
            cookies[f"{school_class.code} {nickname}"] = client.cookies[settings.SESSION_COOKIE_NAME].value
            students.append(
                {
                    "class_code": school_class.code,
                    "nickname": nickname,
                    **{f"picture{at}": picture for at, picture in enumerate(PIN.split(","), start=1)},
                    "upload": reverse("submissions:submission-create", args=[assignment.pk, world.wheel.pk]),
                }
            )
    scene: dict[str, Any] = {
        "students": students,
        "open": list(cookies.values()),  # sessions of pages that stand open when the bell rings
        "cookie": settings.SESSION_COOKIE_NAME,
        "staff": {role: {"username": role, "password": PASSWORD} for role in ("teacher", "technician")},
        "pages": {
            "student sign-in": reverse("lessons:student-sign-in"),
            "staff sign-in": reverse("accounts:sign-in"),
            "my parts": reverse("submissions:part-list"),
            "review": reverse("submissions:review-list"),
            "bench": reverse("printing:bench"),
            "today": reverse("printing:today"),
        },
    }
    return {**scene, "queries": asked(scene, file_of(LEAST_BYTES, Random(1)))}


if __name__ == "__main__":
    json.dump(main(), sys.stdout)
