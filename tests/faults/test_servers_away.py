"""The servers beside the site go away and come back: a plain answer, nothing lost, well again without anybody's help.

Each test has servers of its own. MAKERLAB_TEST_AWAY_S=60 keeps them away for a minute instead of some seconds.
"""

from __future__ import annotations

import os
import signal
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from makerlab.work.actions import QUIET_S
from tests.conftest import own_postgres
from tests.faults.crews import Distributed, environment
from tests.faults.running import Site, embedded_worker, site
from tests.faults.servers import OwnCluster, own_cluster, own_redis, wait_until
from tests.meshcheck.badfiles import binary_stl, cube_corners

pytestmark = [pytest.mark.slow, pytest.mark.postgres]
AWAY_S = float(os.environ.get("MAKERLAB_TEST_AWAY_S", "3"))
HANGS_S = 240.0


def cube(side: float) -> bytes:
    return binary_stl(cube_corners(side))


def comes_to(running: Site, checked: int) -> float:
    return wait_until(lambda: running.checked() == checked, HANGS_S, f"{checked} parts are checked")


def timed_upload(running: Site, side: float) -> float:
    """Seconds of an upload that is taken."""
    began = time.monotonic()
    assert running.upload(cube(side)).status == 302
    return time.monotonic() - began


@pytest.mark.redis
def test_redis_away_and_frozen(tmp_path: Path) -> None:
    with own_postgres() as url, own_redis(tmp_path) as broker:
        values = environment(tmp_path, DATABASE_URL=url, REDIS_URL=broker.url)
        crew = Distributed(tmp_path, workers=1, values=values)
        with site(values) as running:
            running.start()
            crew.start()
            try:
                timed_upload(running, 20.0)
                comes_to(running, 1)
                workers = crew.pids()

                assert broker.process is not None
                broker.process.send_signal(signal.SIGSTOP)  # takes connections and answers nothing
                frozen = timed_upload(running, 21.0)
                second = timed_upload(running, 22.0)
                assert running.page().status == 200
                time.sleep(AWAY_S)
                broker.process.send_signal(signal.SIGCONT)
                thawed = comes_to(running, 3)

                time.sleep(QUIET_S)  # so that the next upload rings again
                broker.stop()  # what it held is gone
                took = timed_upload(running, 23.0)
                assert running.page().status == 200
                time.sleep(AWAY_S)
                assert running.count("work_job WHERE state = 'waiting'") == 1, "it waits, and nobody can be told"
                broker.start()
                back = comes_to(running, 4)
                assert crew.pids() == workers, "no worker had to be started again"
                assert running.count("work_job WHERE state <> 'done'") == 0
            finally:
                crew.stop()
    print(f"\nRedis frozen {AWAY_S:.0f} s: uploads took {frozen:.1f} and {second:.1f} s, checked {thawed:.1f} s after;")
    print(f"  away {AWAY_S:.0f} s: an upload took {took:.1f} s, checked {back:.1f} s after it came back")


@pytest.fixture
def cluster() -> Iterator[OwnCluster]:
    with own_cluster() as server:
        yield server


def told_plainly(answer: object) -> None:
    assert getattr(answer, "status", 0) == 503
    body = getattr(answer, "body", "")
    assert "The server cannot reach its records just now" in body
    assert "Traceback" not in body


def test_postgresql_cut_off_and_restarted(cluster: OwnCluster, tmp_path: Path) -> None:
    values = environment(tmp_path, DATABASE_URL=cluster.url)
    with site(values) as running, embedded_worker(values) as worker:
        running.start()
        assert running.upload(cube(20.0)).status == 302
        comes_to(running, 1)

        cut = cluster.end_connections()
        assert cut >= 2, "the web server's and the worker's"
        assert running.page().status in {200, 503}
        wait_until(lambda: running.page().status == 200, HANGS_S, "pages answer again")
        assert running.upload(cube(21.0)).status == 302
        comes_to(running, 2)

        cluster.stop()
        told_plainly(running.page())
        refused = running.upload(cube(22.0))
        told_plainly(refused)
        assert refused.headers["Retry-After"] == "30"
        assert running.get("/livez").status == 200
        assert running.get("/readyz").status == 503
        time.sleep(AWAY_S)
        files = len(running.stored())
        cluster.start()
        back = wait_until(lambda: running.page().status == 200, HANGS_S, "pages answer again")
        assert running.count("submissions_submission") == 2, "what was refused is not there, what was taken is"
        assert running.upload(cube(22.0)).status == 302
        checked = comes_to(running, 3)
        assert worker.poll() is None, "the worker lived through it"
        assert running.count("work_job WHERE state <> 'done'") == 0
        assert len(running.stored()) > files
    print(f"\nPostgreSQL: {cut} connections cut; stopped {AWAY_S:.0f} s: pages {back:.1f} s after it came back,")
    print(f"  a part checked {checked:.1f} s after its upload")
