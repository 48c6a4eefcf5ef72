"""docker-compose.yml by hand: two web processes, a worker for each lane, the clock, PostgreSQL, Redis and an S3 server.
A lesson's work goes through all of them, and on while one of each kind is killed. See district.py."""

from __future__ import annotations

import json
from collections.abc import Iterator

import pytest

from tests.conftest import ROOT, own_postgres
from tests.faults.district import HANGS_S, District, Visitor
from tests.faults.servers import own_redis, wait_until
from tests.object_store import Bucket, bucket_server
from tests.world import PASSWORD, PIN

pytestmark = [pytest.mark.postgres, pytest.mark.redis, pytest.mark.slow]
WHEELS = ROOT / "demo_fixtures" / "meshes" / "students"
WORLD = """
import json
from tests.world import make_world
world = make_world()
print("MADE", json.dumps({"code": world.school_class.code, "assignment": world.assignment.pk, "wheel": world.wheel.pk}))
"""
CHECKED = "SELECT count(*) FROM submissions_submission WHERE check_state = 'checked'"


@pytest.fixture(scope="module")
def bucket() -> Iterator[Bucket]:
    with bucket_server() as made:
        yield made


@pytest.fixture(scope="module")
def district(bucket: Bucket, tmp_path_factory: pytest.TempPathFactory) -> Iterator[District]:
    folder = tmp_path_factory.mktemp("district")
    with own_postgres() as database, own_redis(folder) as broker:
        made = District(folder, database, broker.url, bucket.environment)
        try:
            made.start()
            yield made
        finally:
            made.stop()


@pytest.fixture(scope="module")
def facts(district: District) -> dict[str, str]:
    found: dict[str, str] = json.loads(district.shell(WORLD).partition("MADE ")[2])
    return found


def upload(student: Visitor, number: int, facts: dict[str, str], name: str) -> str:
    """Hand a file to one of the web processes; where its report is."""
    page = f"/parts/{facts['assignment']}/{facts['wheel']}/"
    student.get(number, "/parts/")
    answer = student.post(number, page, {}, (name, (WHEELS / name).read_bytes()))
    assert answer.status == 302, answer.text[:2000]
    return answer.location


def reached(district: District, query: str, count: int, seconds: float, what: str) -> float:
    try:
        return wait_until(lambda: district.rows(query)[0][0] >= count, seconds, what)
    except AssertionError as error:
        raise AssertionError(f"{error}\n{district.log()}") from error


def test_a_lessons_work_goes_through_every_process_and_on_when_one_of_each_kind_is_killed(
    district: District, bucket: Bucket, facts: dict[str, str]
) -> None:
    student, teacher = Visitor(district), Visitor(district)
    student.get(0, "/sign-in/student/")
    pictures = {f"picture{place}": picture for place, picture in enumerate(PIN.split(","), start=1)}
    answer = student.post(1, "/sign-in/student/", {"class_code": facts["code"], "nickname": "Pip", **pictures})
    assert answer.status == 302, answer.text[:3000]

    # uploaded to one web process, measured by a worker, read from the other, kept in the bucket
    report = upload(student, 0, facts, "otters-wheel-3.stl")
    print(f"verdict after {reached(district, CHECKED, 1, HANGS_S, 'the first check'):.1f} s")
    page = student.get(1, report)
    assert page.status == 200
    assert "every check passes" in page.text.lower()
    sent = (WHEELS / "otters-wheel-3.stl").read_bytes()
    assert sent in [bucket.content(name) for name in bucket.names()]
    assert not [path for path in (district.folder / "media").rglob("*") if path.is_file()], "nothing lies on this disk"

    # handed in here, approved there, ordered and planned by the plan's worker
    assert student.post(1, f"{report}hand-in/", {}).status == 302
    teacher.get(1, "/sign-in/")
    assert teacher.post(0, "/sign-in/", {"username": "teacher", "password": PASSWORD}).status == 302
    number = report.strip("/").rpartition("/")[2]
    teacher.get(0, f"/review/{number}/")
    assert teacher.post(1, f"/review/{number}/approve/", {}).status == 302
    planned = "SELECT count(*) FROM printing_plate WHERE state = 'planned' AND printer_id IS NOT NULL"
    print(f"planned after {reached(district, planned, 1, HANGS_S, 'the plan'):.1f} s")

    # one web process and the measuring worker die; the other web process goes on, a new worker takes up the work
    district.kill("web-0")
    assert district.ask(0, "/livez") == 0
    district.kill("measure")
    upload(student, 1, facts, "larks-wheel-1.stl")
    district.worker("measure")
    district.web(0)
    print(f"verdict after a kill: {reached(district, CHECKED, 2, HANGS_S, 'the check after the kill'):.1f} s")
    assert student.get(0, "/parts/").status == 200, "the sign-in outlives the process that took it"

    jobs = district.rows("SELECT state, count(*) FROM work_job GROUP BY state")
    assert {state for state, _count in jobs} <= {"done", "waiting", "running"}, jobs
    assert not district.rows("SELECT error FROM work_job WHERE state = 'failed'")


def test_everybody_ends_when_asked_to(district: District, facts: dict[str, str]) -> None:
    """Runs last: SIGTERM, as at an upgrade. Nobody needs to be killed; what was in hand stands done or waits again."""
    names = set(district.running)
    assert set(district.stop()) == names, "each ended within its grace"
    assert not district.rows("SELECT id FROM work_job WHERE state = 'running'")
