"""Half an hour of an embedded school that is never at rest: 300 pages ask, a file comes in every 15 s, parts are
reviewed and ordered, the room is planned again each time. Does memory grow?

MAKERLAB_SOAK_MIN makes it longer or shorter. Prints, and with MAKERLAB_BENCH_KEEP (a folder) writes soak.json for
docs/capacity.md. Gates on errors and missing verdicts, on growth with MAKERLAB_HOLD_BARS=1.
"""

from __future__ import annotations

import json
import os
from pathlib import Path

import pytest

from tests.bench.load.files import files
from tests.bench.load.machine import Watch
from tests.bench.load.profiles import started
from tests.bench.load.report import figures, told
from tests.bench.load.rush import Bell
from tests.bench.load.test_rush import GROWTH, PAGES, STUDENTS, rung
from tests.bench.plan.report import held

pytestmark = [pytest.mark.bench, pytest.mark.slow]
MINUTES = float(os.environ.get("MAKERLAB_SOAK_MIN", "30"))
FILE_EVERY_S = 15


def test_memory_stays(tmp_path: Path) -> None:
    students = min(STUDENTS, round(MINUTES * 60 / FILE_EVERY_S))
    with started(tmp_path, measuring=0) as profile, Watch(profile.pids()) as watch:
        outcome = rung(profile, list(files(students, seed=5)), Bell(within_s=MINUTES * 60, pages=PAGES))
    found = figures(outcome, watch.taken)
    growth = {name: round(taken.growth, 3) for name, taken in watch.taken.items()}
    load = round(os.getloadavg()[2], 1)
    found |= {"minutes": MINUTES, "students": students, "pages": PAGES, "growth": growth, "load": load}
    print(told(f"embedded, {MINUTES:g} min", found))
    for name, share in growth.items():
        print(f"  {name}: {100 * share:+.1f} % of memory from the second tenth of the time to the last")
    if kept := os.environ.get("MAKERLAB_BENCH_KEEP"):
        Path(kept, "soak.json").write_text(json.dumps(found, indent=1) + "\n")
    assert outcome.notes.errors == []
    assert outcome.unanswered == 0
    held(growth["web 1"] < GROWTH, f"the web process grows by less than {GROWTH:.0%}")
