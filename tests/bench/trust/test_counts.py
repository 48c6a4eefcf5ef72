"""How much the tests of trust try, counted from their own tables: addresses, hostile files, races. Prints; a count may
not fall below what it was when this was written."""

from __future__ import annotations

import ast
import re

import pytest

from tests.conftest import ROOT

pytestmark = pytest.mark.bench
TESTS = ROOT / "tests"


def races() -> dict[str, list[int]]:
    """Tests that let several do the same at once (by the fixture ``at_once``, or on what printing/race.py found)."""
    found: dict[str, list[int]] = {}
    for path in sorted(TESTS.rglob("test_*.py")):
        for node in ast.walk(ast.parse(path.read_text("utf-8"))):
            takes = isinstance(node, ast.FunctionDef) and {each.arg for each in node.args.args} & {"at_once", "raced"}
            if isinstance(node, ast.FunctionDef) and takes and node.name.startswith("test_"):
                found.setdefault(str(path.relative_to(TESTS)), []).append(node.lineno)
    return found


def test_addresses_people_methods() -> None:
    line = re.search(
        r"(\d+) addresses x (\d+) people x (\d+) methods: (\d+) answers",
        (ROOT / "docs" / "permissions.md").read_text("utf-8"),
    )
    assert line is not None
    addresses, people, methods, answers = map(int, line.groups())
    print(f"\n{addresses} addresses x {people} people x {methods} methods = {answers} answers (test_permissions.py)")
    assert answers == addresses * people * methods >= 4000


def test_hostile_files() -> None:
    from tests.meshcheck.badfiles import every_mesh_file
    from tests.meshcheck.badpackages import every_package

    meshes, packages = len(every_mesh_file()), len(every_package())
    print(
        f"\n{meshes + packages} hostile files: {meshes} meshes, {packages} packages (test_badfiles.py, test_hostile.py)"
    )
    assert meshes + packages >= 60


def test_races() -> None:
    found = races()
    count = sum(map(len, found.values()))
    print(f"\n{count} tests of races in {len(found)} files: {', '.join(found)}")
    assert count >= 20
