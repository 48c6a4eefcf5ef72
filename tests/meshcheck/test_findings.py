"""The catalogue: every entry can be filled, says what must be said, and is plain enough to read."""

from __future__ import annotations

import re
import string

import pytest

from meshcheck.catalogue import ENTRIES
from meshcheck.findings import allowed, from_note, from_rejection, make, worst
from meshcheck.types import Level, MeshRejected, Note

FIELDS = ("title", "figure", "why", "mend")


def figures_of(code: str) -> dict[str, float | int | str]:
    """A made-up value for every figure the entry's templates ask for."""
    found: dict[str, float | int | str] = {"value": 2.0, "low": 3.0, "high": 4.0}
    for field in FIELDS:
        for _, name, spec, _ in string.Formatter().parse(getattr(ENTRIES[code], field)):
            if name and name not in ("allowed", "where", "value", "low", "high"):
                found[name] = 7 if spec else "seven"
    return found


@pytest.mark.parametrize("code", ENTRIES)
def test_every_entry_can_be_filled(code: str) -> None:
    made = make(code, **figures_of(code))
    assert made.title
    assert "{" not in made.title + made.figure + made.why + made.mend
    assert made.code == code


@pytest.mark.parametrize("code", [code for code, entry in ENTRIES.items() if entry.level is not Level.PASSES])
def test_what_is_wrong_says_why_and_how_to_mend_it(code: str) -> None:
    entry = ENTRIES[code]
    assert entry.figure
    if code not in ("rejected", "not_measured"):  # those carry the words of whoever noticed
        assert entry.why
        assert entry.mend


@pytest.mark.parametrize("code", [code for code, entry in ENTRIES.items() if "{allowed}" in entry.figure])
def test_every_limit_says_where_it_is_from(code: str) -> None:
    assert ENTRIES[code].limit_source


@pytest.mark.parametrize("code", ENTRIES)
def test_the_words_are_plain(code: str) -> None:
    # a rough guide for about grade 6: sentences of at most 26 words, hardly a word of 14 letters or more
    text = make(code, **figures_of(code))
    for sentence in re.split(r"(?<=[.!?:])\s", f"{text.why} {text.mend}"):
        assert len(sentence.split()) <= 26, sentence
    assert not re.findall(r"[A-Za-z]{15,}", f"{text.title} {text.why} {text.mend}")


def test_a_measured_figure_comes_with_its_scale() -> None:
    made = make("hole_too_small", value=2.95, low=3.15, high=3.30, wanted=3.2)
    assert made.figure == "2.95 mm, allowed 3.15 to 3.30 mm"
    assert made.scale is not None
    assert (made.scale.value, made.scale.low, made.scale.high, made.scale.unit) == (2.95, 3.15, 3.30, "mm")
    assert made.level is Level.MUST_FIX
    assert "3.20 mm" in made.mend


def test_the_skin_is_closed_as_the_screens_say_it() -> None:
    made = make("closed", faces=7420)
    assert (made.title, made.figure, made.level) == (
        "The skin is closed",
        "7,420 triangles, no open edges",
        Level.PASSES,
    )


@pytest.mark.parametrize(
    ("low", "high", "words"),
    [
        (3.15, 3.3, "3.15 to 3.30 mm"),
        (0.84, None, "at least 0.84 mm"),
        (None, 1.0, "at most 1.00 mm"),
        (None, None, ""),
    ],
)
def test_limits_in_words(low: float | None, high: float | None, words: str) -> None:
    assert allowed(low, high, "mm", 2) == words


def test_a_missing_figure_is_our_mistake() -> None:
    with pytest.raises(KeyError):
        make("not_closed")
    with pytest.raises(KeyError):
        make("no_such_code")


def test_notes_and_rejections_keep_their_codes() -> None:
    noted = from_note(Note("decimal_commas", "Numbers were written with decimal commas."))
    assert (noted.code, noted.level) == ("decimal_commas", Level.PASSES)
    assert "commas" in noted.figure
    refused = from_rejection(MeshRejected("truncated", "The file ends too early.", "Export it again."))
    assert (refused.code, refused.level, refused.mend) == ("truncated", Level.MUST_FIX, "Export it again.")


def test_braces_in_a_message_are_left_alone() -> None:
    assert "{x}" in from_note(Note("odd", "a name like {x}")).figure


def test_the_worst_level_counts() -> None:
    good, advice, bad = make("closed", faces=1), make("several_bodies", bodies=2), make("not_closed", open_edges=1)
    assert worst(()) is Level.PASSES
    assert worst((good, advice)) is Level.ADVICE
    assert worst((advice, bad, good)) is Level.MUST_FIX
