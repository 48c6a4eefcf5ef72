"""The morning bell on the embedded profile, and on PostgreSQL and Redis with one, two and three measuring workers.

Prints every step and writes MAKERLAB_BENCH_KEEP (a folder), when it is set, for docs/capacity.md. Gates on errors and
missing verdicts; the bars of time and memory fail only with MAKERLAB_HOLD_BARS=1, on a quiet machine of two cores.
"""

from __future__ import annotations

import asyncio
import json
import os
from pathlib import Path
from random import Random

import pytest

from tests.bench.load.files import file_of, files
from tests.bench.load.machine import MB, Watch
from tests.bench.load.profiles import Profile, started
from tests.bench.load.report import POLLS, figures, told
from tests.bench.load.rush import Bell, Outcome, Rush
from tests.bench.plan.report import held

pytestmark = [pytest.mark.bench, pytest.mark.slow]
STUDENTS = int(os.environ.get("MAKERLAB_RUSH_STUDENTS", "120"))
PAGES = int(os.environ.get("MAKERLAB_RUSH_PAGES", "300"))
EMBEDDED = 0
SERVERS = [pytest.mark.postgres, pytest.mark.redis]
PROFILES = [
    pytest.param(EMBEDDED, id="embedded"),
    *(
        pytest.param(count, id=f"workers-{count}", marks=[pytest.mark.postgres, pytest.mark.redis])
        for count in (1, 2, 3)
    ),
]
POLL_P95_S, UPLOAD_P95_S, VERDICT_P95_S, ALONE_S = 0.25, 2.0, 120.0, 10.0
WEB_MB, GROWTH = 200, 0.10
FIVE_MB = 5_000_000


def rung(profile: Profile, contents: list[bytes], bell: Bell) -> Outcome:
    return asyncio.run(Rush(profile.scene, profile.ports, contents, bell, "127.0.0.1").run())


@pytest.mark.parametrize("measuring", PROFILES)
def test_the_bell(measuring: int, tmp_path: Path) -> None:
    name = f"PostgreSQL and Redis, {measuring} measuring" if measuring else "embedded"
    with started(tmp_path, measuring) as profile:
        alone = rung(profile, [file_of(FIVE_MB, Random(7))], Bell(within_s=0.0, pages=1))
        with Watch(profile.pids()) as watch:
            outcome = rung(profile, list(files(STUDENTS, seed=3)), Bell(pages=PAGES))
        stored = sum(file.stat().st_size for file in (profile.folder / "media").rglob("*") if file.is_file())
        found = figures(outcome, watch.taken)
    found |= {
        "one 5 MB file alone": round(alone.verdict_s[0], 2),
        "students": STUDENTS,
        "pages": PAGES,
        "queries": profile.scene["queries"],
        "stored_mb": round(stored / MB, 1),
        "load before": os.getloadavg()[2],
    }
    print(told(name, found))
    print(f"  one file of 5 MB alone: {found['one 5 MB file alone']} s to its verdict")
    if kept := os.environ.get("MAKERLAB_BENCH_KEEP"):
        Path(kept, f"rush-{measuring}.json").write_text(json.dumps(found, indent=1) + "\n")
    assert outcome.notes.errors == [] == alone.notes.errors
    assert outcome.unanswered == 0
    assert len(outcome.verdict_s) == STUDENTS
    if measuring == EMBEDDED:
        web = found["processes"]["web 1"]
        held(found["steps"][POLLS]["p95"] <= POLL_P95_S, f"p95 of all polls at most {POLL_P95_S} s")
        held(found["steps"]["upload answered"]["p95"] <= UPLOAD_P95_S, f"p95 of uploads at most {UPLOAD_P95_S} s")
        held(found["file chosen to verdict"]["p95"] <= VERDICT_P95_S, f"p95 to a verdict at most {VERDICT_P95_S} s")
        held(alone.verdict_s[0] <= ALONE_S, f"one 5 MB file alone at most {ALONE_S} s")
        held(web["most_mb"] <= WEB_MB, f"the web process at most {WEB_MB} MB")
