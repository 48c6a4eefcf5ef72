"""The only doors to objects in views are ``visible_to`` and ``editable_by`` (DESIGN section 10).

Read from the source itself: a view that asks a manager for rows without one of the two would show them to anybody.
Read is every module that holds a view, found through the addresses, and every module beside one in a ``views`` folder.
"""

from __future__ import annotations

import ast
import inspect
from pathlib import Path

import pytest

from tests.makerlab.site_addresses import addresses

ROOT = Path(__file__).resolve().parents[2]
DOORS = {"visible_to", "editable_by", "none"}
# managers' own doors, each with the person or an unguessable token as its argument
NAMED_DOORS = {"with_key", "for_token", "of", "note_fetched", "in_use", "note_used"}
NAMED_DOORS |= {"of_school"}  # the records, of which only ids are taken, to narrow what a door has let through
WRITING = {"create", "bulk_create"}  # asks for nothing
MANAGERS = {"objects", "_default_manager", "_base_manager"}
MODEL_SHORTCUTS = {"get_object_or_404", "get_list_or_404"}


def view_files() -> list[Path]:
    apps = [ROOT / "makerlab", ROOT / "lessons", ROOT / "queue" / "submissions", ROOT / "queue" / "printing"]
    beside = {path for app in apps for path in app.rglob("views/*.py")} | {
        path for app in apps for path in app.rglob("*views.py")
    }
    behind = {Path(inspect.getsourcefile(inspect.unwrap(entry.callback)) or "") for _name, entry in addresses()}
    return sorted(beside | {path for path in behind if path.is_relative_to(ROOT)})


def undoored(tree: ast.AST) -> list[str]:
    """Every place that asks a model for rows past the doors, and every manager that is handed on."""
    through = {
        id(node.value)
        for node in ast.walk(tree)
        if isinstance(node, ast.Attribute) and node.attr in DOORS | NAMED_DOORS | WRITING
    }
    found = []
    for node in ast.walk(tree):
        if isinstance(node, ast.Attribute) and node.attr in MANAGERS and id(node) not in through:
            found.append(f"line {node.lineno}: {ast.unparse(node)} without a door")
        if isinstance(node, ast.Call) and node.args:
            called = node.func.id if isinstance(node.func, ast.Name) else getattr(node.func, "attr", "")
            model = isinstance(node.args[0], ast.Name) and node.args[0].id[:1].isupper()
            if called in MODEL_SHORTCUTS and (model or isinstance(node.args[0], ast.Attribute)):
                found.append(f"line {node.lineno}: {called} of a model")
    return found


def test_every_view_is_read():
    names = {str(path.relative_to(ROOT)) for path in view_files()}
    assert {"makerlab/views.py", "makerlab/accounts/people_views.py", "queue/printing/views/bench.py"} <= names
    assert len(names) > 40


@pytest.mark.parametrize("path", view_files(), ids=lambda path: str(path.relative_to(ROOT)))
def test_views_go_through_the_doors(path):
    assert undoored(ast.parse(path.read_text("utf-8"))) == []


@pytest.mark.parametrize(
    ("code", "caught"),
    [
        ("Plate.objects.get(pk=1)", 1),
        ("Plate.objects.all()", 1),
        ("Plate.objects.order_by('id')", 1),
        ("Plate.objects.select_related('room').visible_to(user)", 1),
        ("Plate._default_manager.filter(pk=1)", 1),
        ("rows = Plate.objects", 1),
        ("one(Plate.objects, pk)", 1),
        ("get_object_or_404(Plate, pk=1)", 1),
        ("shortcuts.get_object_or_404(models.Plate, pk=1)", 1),
        ("get_object_or_404(Plate.objects.visible_to(user), pk=1)", 0),
        ("Plate.objects.visible_to(user).filter(pk=1).first()", 0),
        ("team.memberships.all()", 0),
    ],
)
def test_the_reader_sees_what_it_should(code, caught):
    assert len(undoored(ast.parse(code))) == caught
