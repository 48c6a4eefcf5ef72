"""The catalogues of texts, brought up to the code. For developers: wants GNU gettext on the PATH."""

from __future__ import annotations

import ast
import os
import subprocess
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from django.core.management import call_command
from django.core.management.base import BaseCommand, CommandParser
from django.core.management.commands import makemessages

from makerlab.environment import BASE_DIR
from meshcheck import bore_gauge, findings, gauge, units
from meshcheck.catalogue import ENTRIES
from meshcheck.reading import gate
from meshcheck.report import SAID

LANGUAGES = ("es",)
APPS = ("makerlab", "lessons", "queue/submissions", "queue/printing")
ENGINE = BASE_DIR / "queue" / "meshcheck"
# what else writes by ``told``; its texts stand in the engine's catalogue
TELLERS = (BASE_DIR / "queue" / "planning", BASE_DIR / "queue" / "printing" / "planner")
HEADER = 'msgid ""\nmsgstr "Content-Type: text/plain; charset=UTF-8\\n"\n'


class Gather(makemessages.Command):
    """Django's own, which also knows the names we give to gettext where a table holds its texts, and
    the reasons of ``Unknown``, which pure code cannot translate."""

    xgettext_options = [
        *makemessages.Command.xgettext_options,
        "--keyword=lazy",
        "--keyword=noted",
        "--keyword=Unknown",
    ]


class Command(BaseCommand):
    help = (
        "Bring the catalogues of texts up to the code and compile them. What is new stands there without translation."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--compile", action="store_true", help="compile only")

    def handle(self, *args: Any, **options: Any) -> None:
        folders = [*(BASE_DIR / app for app in APPS), ENGINE]
        if not options["compile"]:
            for folder in folders[:-1]:
                self.extract(folder)
            self.extract_engine()
        for folder in folders:
            for catalogue in (folder / "locale").rglob("*.po"):
                compiled = ["-o", str(catalogue.with_suffix(".mo")), str(catalogue)]
                command = ["msgfmt", "--check-format", "--statistics", *compiled]
                told = subprocess.run(command, check=True, text=True, capture_output=True)
                self.stdout.write(f"{catalogue.relative_to(BASE_DIR)}: {told.stderr.strip()}")

    def extract(self, folder: Path) -> None:
        """An app's templates and Python files, by Django's own command."""
        (folder / "locale").mkdir(exist_ok=True)
        here = Path.cwd()
        os.chdir(folder)
        try:
            call_command(
                Gather(), locale=list(LANGUAGES), no_location=True, no_obsolete=True, no_wrap=True, verbosity=0
            )
        finally:
            os.chdir(here)

    def extract_engine(self) -> None:
        """The engine's texts go through no gettext: gathered here, merged by gettext's own tool."""
        template = ENGINE / "locale" / "engine.pot"
        template.parent.mkdir(exist_ok=True)
        texts = sorted(engine_texts())
        template.write_text(HEADER + "".join(f'\nmsgid {quoted(text)}\nmsgstr ""\n' for text in texts), "utf-8")
        for language in LANGUAGES:
            catalogue = ENGINE / "locale" / language / "LC_MESSAGES" / "django.po"
            if not catalogue.exists():
                catalogue.parent.mkdir(parents=True, exist_ok=True)
                catalogue.write_text(HEADER, "utf-8")
            merge = ["msgmerge", "--quiet", "--update", "--backup=none", "--no-wrap", "--no-fuzzy-matching"]
            subprocess.run([*merge, str(catalogue), str(template)], check=True)
            drop = ["msgattrib", "--no-obsolete", "--no-wrap", "-o", str(catalogue), str(catalogue)]
            subprocess.run(drop, check=True)
        template.unlink()


def quoted(text: str) -> str:
    escaped = text.replace("\\", "\\\\").replace('"', '\\"').replace("\n", "\\n")
    return f'"{escaped}"'


def engine_texts() -> set[str]:
    """Every template of what measures and plans: those of its tables, and those given to ``told`` and ``chained``."""
    found = {getattr(entry, name) for entry in ENTRIES.values() for name in SAID}
    found |= {text for pair in gate.REJECTIONS.values() for text in pair} | {kind for _sign, kind in gate._OTHER_KINDS}
    found |= {text for row in gauge.UNIT_ERRORS for text in row[1:]} | {text for _scale, text in units._TOO_LARGE}
    found |= {*bore_gauge.NAMES.values(), *units.UNIT_NAMES.values()}
    found |= {*findings.TO, *findings.AT_LEAST, *findings.AT_MOST, "{first}, {rest}"}
    for folder in (ENGINE, *TELLERS):
        for path in folder.rglob("*.py"):
            found |= set(_told_in(ast.parse(path.read_text("utf-8"))))
    return {text for text in found if text and any(letter.isalpha() for letter in text)}


def _told_in(module: ast.Module) -> Iterator[str]:
    """What a module hands to ``told`` and ``chained``: literals, and names that literals were given to."""
    named: dict[str, list[str]] = {}
    for node in ast.walk(module):
        if isinstance(node, ast.Assign):
            for name, value in _assigned(node):
                named.setdefault(name, []).extend(_literals(value, {}))
    for node in ast.walk(module):
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id in {"told", "chained"}:
            place = 0 if node.func.id == "told" else 1
            if len(node.args) > place:
                yield from _literals(node.args[place], named)


def _assigned(node: ast.Assign) -> Iterator[tuple[str, ast.expr]]:
    """Names and what each is given, of "a = x" and of "a, b = x, y"."""
    target, value = node.targets[0], node.value
    pairs: list[tuple[ast.expr, ast.expr]] = [(target, value)]
    if isinstance(target, ast.Tuple) and isinstance(value, ast.Tuple):
        pairs = list(zip(target.elts, value.elts, strict=False))
    for each, given in pairs:
        if isinstance(each, ast.Name):
            yield each.id, given


def _literals(node: ast.expr, named: dict[str, list[str]]) -> Iterator[str]:
    if isinstance(node, ast.Constant) and isinstance(node.value, str):
        yield node.value
    elif isinstance(node, ast.IfExp):
        yield from _literals(node.body, named)
        yield from _literals(node.orelse, named)
    elif isinstance(node, ast.Name):
        yield from named.get(node.id, ())
