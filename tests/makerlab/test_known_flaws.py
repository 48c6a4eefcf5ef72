"""What .ci/known_flaws.py makes of the audit tool's answer."""

from __future__ import annotations

import importlib.util
import json
import sys
from datetime import date

import pytest

from tests.conftest import ROOT

FOLDER = ROOT / ".ci"
# pip-audit 2.10.1 on two of our locked packages, where the index serves packages but no list of flaws
NO_FEED = (
    '{"dependencies": [{"name": "segno", "skip_reason": "Dependency not found on PyPI and could not be audited: segno '
    '(1.6.6)"}, {"name": "tzdata", "skip_reason": "Dependency not found on PyPI and could not be audited: tzdata '
    '(2026.6)"}], "fixes": []}'
)
# the end of what it writes where no name is found at all (python's own words for a machine without a network)
NO_NETWORK = """Traceback (most recent call last):
requests.exceptions.ConnectionError: HTTPSConnectionPool(host='feed.example', port=443): Max retries exceeded
"""
FLAW = {"id": "PYSEC-2026-1", "fix_versions": ["1.6.7"], "aliases": ["CVE-2026-12"], "description": "of this test"}
SKIPPED = {"name": "tzdata", "skip_reason": "Dependency not found"}


@pytest.fixture(scope="module")
def flaws():
    spec = importlib.util.spec_from_file_location("known_flaws", FOLDER / "known_flaws.py")
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module  # dataclasses look their module up
    spec.loader.exec_module(module)
    yield module
    del sys.modules[spec.name]


def answer(*packages: dict) -> str:
    """In the tool's documented form."""
    return json.dumps({"dependencies": list(packages), "fixes": []})


def package(name: str, *vulns: dict) -> dict:
    return {"name": name, "version": "1.6.6", "vulns": list(vulns)}


def test_where_no_package_could_be_audited_it_says_so_and_fails_nothing(flaws):
    verdict = flaws.judge_run(NO_FEED, "")
    assert (verdict.code, verdict.told) == (0, ("no feed is reachable: nothing was audited (2 packages)",))


def test_without_a_network_the_same(flaws):
    assert flaws.judge_run("", NO_NETWORK) == flaws.Verdict(0, (flaws.NOTHING,))


def test_a_known_flaw_fails_and_names_package_flaw_and_remedy(flaws):
    verdict = flaws.judge(answer(package("segno", FLAW), package("celery"), SKIPPED))
    assert verdict.code == 1
    assert verdict.told == (
        "2 packages audited; known flaws: 1, and noted ones: 0",
        "segno 1.6.6: PYSEC-2026-1, mended in 1.6.7",
        "1 could not be audited: tzdata",
    )
    assert "no version yet" in flaws.judge(answer(package("segno", {**FLAW, "fix_versions": []}))).told[1]


def test_without_a_flaw_it_is_fine_and_counts(flaws):
    assert flaws.judge(answer(package("segno"))) == flaws.Verdict(
        0, ("1 packages audited; known flaws: 0, and noted ones: 0",)
    )


@pytest.mark.parametrize("name", ["PYSEC-2026-1", "CVE-2026-12"])
def test_a_noted_flaw_passes_by_either_name_until_its_day_is_over(flaws, name):
    text, found = f"# why\n{name} 2026-12-01 we never call it\n", answer(package("segno", FLAW))
    on_the_day, after = (flaws.noted_flaws(text, date(2026, 12, day)) for day in (1, 2))
    assert flaws.judge(found, on_the_day).code == 0
    assert flaws.judge(found, after).code == 1


def test_a_note_needs_its_reason(flaws):
    with pytest.raises(ValueError, match="a reason"):
        flaws.noted_flaws("PYSEC-2026-1 2026-12-01", date(2026, 12, 1))


def test_our_own_notes_can_be_read(flaws):
    flaws.noted_flaws((FOLDER / "flaws-noted.txt").read_text("utf-8"), date.today())


@pytest.mark.parametrize("errors", ["ERROR:pip_audit._cli:requirement x==1 does not contain a hash\n", ""])
def test_an_audit_that_fails_in_itself_fails(flaws, errors):
    assert flaws.judge_run("", errors).code == 1
    assert flaws.judge(answer()).code == 1


def test_the_lock_of_the_tool_has_hashes_and_names_no_index():
    text = (ROOT / "requirements-audit.txt").read_text("utf-8")
    pinned = [line for line in text.splitlines() if line and not line.startswith((" ", "#"))]
    assert any(line.startswith("pip-audit==") for line in pinned)
    assert text.count("--hash=sha256:") >= len(pinned) > 20
    assert "://" not in text
