"""Every verb and every kind of subject that is recorded anywhere has words: read from the source with ``ast``."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest
from django.apps import apps
from django.urls import reverse
from django.utils import translation

from makerlab.audit.models import record
from makerlab.audit.words import SUBJECTS, VERBS, did, with_what
from printing.states import Outcome

ROOT = Path(__file__).resolve().parents[2]
NOTES = {"record": 2, "record_seen": 2, "_note": 1, "_write": 3}  # which argument is the verb
LEAST = 120


def recorded() -> set[str]:
    found: set[str] = set()
    for app in ("makerlab", "lessons", "queue"):
        for path in (ROOT / app).rglob("*.py"):
            for node in ast.walk(ast.parse(path.read_text("utf-8"))):
                if not isinstance(node, ast.Call):
                    continue
                at = NOTES.get(getattr(node.func, "id", getattr(node.func, "attr", "")))
                if at is None or len(node.args) <= at:
                    continue
                if isinstance(node.args[at], ast.JoinedStr):
                    continue  # the outcomes of a run, below
                texts = [each for each in ast.walk(node.args[at]) if isinstance(each, ast.Constant)]
                found |= {each.value for each in texts if isinstance(each.value, str)}
    return found


def test_every_verb_has_words():
    verbs = recorded() | {f"run_{outcome.value}" for outcome in Outcome if outcome != Outcome.RUNNING}
    assert len(verbs) >= LEAST
    assert verbs - set(VERBS) == set()


def test_every_subject_is_a_model():
    assert {
        name for name in SUBJECTS if not any(name == model._meta.model_name for model in apps.get_models())
    } == set()


@pytest.mark.parametrize("language", ["en", "es"])
def test_words_differ_from_codes_and_from_each_other(language: str):
    with translation.override(language):
        words = [did(verb) for verb in VERBS]
        assert len(set(words)) == len(words)
        assert not [word for word in words if "_" in word]
        assert with_what("nothing we know", "7").startswith("nothing we know")


@pytest.mark.django_db
def test_the_page_says_it(client, world):
    record(world.room.school_id, world.administrator, "weigh_spool", world.room)
    client.force_login(world.administrator, backend="makerlab.accounts.backends.StaffBackend")
    page = client.get(reverse("privacy:records")).content.decode()
    assert "Weighed a spool" in page
    assert f"room, number {world.room.pk}" in page
    assert ">weigh_spool<" not in page
