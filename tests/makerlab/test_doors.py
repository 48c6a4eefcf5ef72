"""The only doors to objects in views are ``visible_to`` and ``editable_by`` (DESIGN section 10).

Read from the source itself: a view that asks a manager for rows without one of the two would show them to anybody.
"""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
DOORS = {"visible_to", "editable_by"}
ASKING = {
    "get",
    "filter",
    "all",
    "exclude",
    "first",
    "last",
    "get_or_create",
    "update_or_create",
    "in_bulk",
    "values_list",
}
MODEL_SHORTCUTS = {"get_object_or_404", "get_list_or_404"}


def view_files() -> list[Path]:
    apps = [ROOT / "makerlab", ROOT / "lessons", ROOT / "queue" / "submissions", ROOT / "queue" / "printing"]
    return sorted(
        path for app in apps for path in app.rglob("*.py") if path.name == "views.py" or path.parent.name == "views"
    )


def chain(node: ast.expr) -> list[str]:
    """Names along a chain of calls and attributes: Model.objects.filter().all() gives Model, objects, filter, all."""
    names: list[str] = []
    while True:
        if isinstance(node, ast.Call):
            node = node.func
        elif isinstance(node, ast.Attribute):
            names.append(node.attr)
            node = node.value
        elif isinstance(node, ast.Name):
            return [*names, node.id][::-1]
        else:
            return names[::-1]


def undoored(tree: ast.AST) -> list[str]:
    """Every place that asks a model for rows past the doors."""
    found = []
    for node in ast.walk(tree):
        if not isinstance(node, ast.Call):
            continue
        names = chain(node)
        if "objects" in names:
            after = names[names.index("objects") + 1 :]
            if after and after[0] in ASKING:
                found.append(f"line {node.lineno}: {'.'.join(names)}")
        if names and names[-1] in MODEL_SHORTCUTS and node.args and isinstance(node.args[0], ast.Name):
            found.append(f"line {node.lineno}: {names[-1]}({node.args[0].id})")
    return found


@pytest.mark.parametrize("path", view_files(), ids=lambda path: str(path.relative_to(ROOT)))
def test_views_go_through_the_doors(path):
    assert undoored(ast.parse(path.read_text("utf-8"))) == []


@pytest.mark.parametrize(
    ("code", "caught"),
    [
        ("Plate.objects.get(pk=1)", 1),
        ("Plate.objects.all()", 1),
        ("get_object_or_404(Plate, pk=1)", 1),
        ("get_object_or_404(Plate.objects.visible_to(user), pk=1)", 0),
        ("Plate.objects.visible_to(user).filter(pk=1).first()", 0),
        ("team.memberships.all()", 0),
    ],
)
def test_the_reader_sees_what_it_should(code, caught):
    assert len(undoored(ast.parse(code))) == caught
