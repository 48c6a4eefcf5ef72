"""The reference page says what the catalogue says."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

from meshcheck.catalogue import ENTRIES
from meshcheck.reference import PAGE, page


def test_the_page_in_the_repository_is_the_catalogues() -> None:
    assert PAGE.read_text(encoding="utf-8") == page(), "run: python -m meshcheck.reference"


def test_every_finding_has_its_level_and_its_words() -> None:
    sections = page().split("\n## ")[1:]
    assert [section.split("\n")[0] for section in sections] == ["Must be fixed", "Advice", "Passes"]
    for code, entry in ENTRIES.items():
        section = sections[["must_fix", "advice", "passes"].index(entry.level.value)]
        own = section.split(f"\n### `{code}`: ")
        assert len(own) == 2, code
        words = own[1].split("\n### ")[0]
        assert ("- How to mend it: " in words) is bool(entry.mend)
        assert ("- Limit from: " in words) is bool(entry.limit_source)


def test_figures_stand_without_their_rounding() -> None:
    assert "`{value}` mm`{where}`, allowed `{allowed}`" in page()
    assert ":.2f" not in page()


def test_the_command_writes_the_page(tmp_path: Path) -> None:
    target = tmp_path / "findings.md"
    done = subprocess.run(
        [sys.executable, "-m", "meshcheck.reference", str(target)],
        cwd=PAGE.parents[1] / "queue",
        capture_output=True,
        text=True,
        timeout=60,
        check=True,
    )
    assert str(len(ENTRIES)) in done.stdout
    assert target.read_text(encoding="utf-8") == page()
