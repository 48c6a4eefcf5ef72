"""The examples in docs/api.md, run as they stand: by bash and curl against a running server, and by Python."""

from __future__ import annotations

import json
import re
import shutil
import subprocess
import time
from pathlib import Path
from typing import Any

import pytest

from makerlab.api.sending import sign
from makerlab.api.webhooks import new_secret
from printing.models import PrintCopy, Run
from submissions.models import Submission
from tests.conftest import ROOT, missing
from tests.makerlab.api.calling import give_token
from tests.printing.helpers import started
from tests.submissions.make import wheel_stl

PAGE = ROOT / "docs" / "api.md"
BLOCKS = re.compile(r"^```sh\n(.*?)^```", re.DOTALL | re.MULTILINE)


def answers(text: str) -> list[dict]:
    """JSON objects one behind the other, as two calls print them."""
    found, rest, decoder = [], text.strip(), json.JSONDecoder()
    while rest:
        value, end = decoder.raw_decode(rest)
        found.append(value)
        rest = rest[end:].strip()
    return found


def test_the_example_that_checks_a_signature_works():
    """The lines of the page themselves, on a message we sign."""
    (code,) = re.findall(r"^```python\n(.*?)^```", PAGE.read_text("utf-8"), re.DOTALL | re.MULTILINE)
    given: dict[str, Any] = {}
    exec(code, given)
    secret, body, now = new_secret(), '{"type": "run.ended"}', int(time.time())
    headers = {"webhook-id": "an-id", "webhook-timestamp": str(now)}
    headers["webhook-signature"] = f"{sign(new_secret(), 'an-id', now, body)} {sign(secret, 'an-id', now, body)}"
    assert given["is_ours"](secret, headers, body.encode())
    assert not given["is_ours"](secret, headers, body.encode() + b" ")
    assert not given["is_ours"](new_secret(), headers, body.encode())
    old = {**headers, "webhook-timestamp": str(now - 400)}
    old["webhook-signature"] = sign(secret, "an-id", now - 400, body)
    assert not given["is_ours"](secret, old, body.encode())


@pytest.mark.django_db(transaction=True)
def test_the_examples_work_as_they_stand(world, live_server, tmp_path: Path):
    if not shutil.which("curl"):
        missing("curl is not installed")
    run = started(world)
    copy = run.plate.copies.first()
    world.room.refresh_from_db()
    (tmp_path / "wheel.stl").write_bytes(wheel_stl())
    names = {
        "SITE": live_server.url, "TOKEN": give_token(world.administrator), "TEAM": world.second_team.pk,
        "KIT_PART": world.wheel.pk, "ASSIGNMENT": world.assignment.pk, "ROOM": world.room.pk,
        "REVISION": world.room.revision, "RUN": run.pk, "COPY": copy.pk,
    }  # fmt: skip
    blocks = BLOCKS.findall(PAGE.read_text("utf-8"))
    said = []
    for block in blocks:
        told = subprocess.run(
            ["bash", "-eu", "-c", block], env={"PATH": "/usr/bin:/bin", **{name: str(names[name]) for name in names}},
            cwd=tmp_path, capture_output=True, text=True, timeout=900,
        )  # fmt: skip
        assert told.returncode == 0, (block, told.stdout, told.stderr)
        said.append(answers(told.stdout))
    (me,), (uploaded,), (changed,), (before, after) = said
    assert me["role"] == "administrator"
    submission = Submission.objects.get(pk=uploaded["id"])
    assert (submission.team, submission.file_name) == (world.second_team, "wheel.stl")
    assert submission.pk in {each["id"] for each in changed["items"]}
    assert (before["outcome"], after["outcome"]) == ("running", "partly_good")
    assert Run.objects.get(pk=run.pk).outcome == "partly_good"
    assert PrintCopy.objects.get(pk=copy.pk).state == "waiting"
