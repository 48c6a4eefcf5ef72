"""What students read stays at school grade 6 or below by the Flesch-Kincaid grade (tests/reading_level.py): every
finding of the check, each page's words together, and every sentence long enough for the formula to mean something."""

from __future__ import annotations

import re

import pytest

from meshcheck.catalogue import ENTRIES
from tests.browser.conftest import ROOT
from tests.reading_level import SENTENCE_END, WORD, grade, syllables

GRADE_MOST = 6.99  # still grade 6
LONG_ENOUGH = 10  # words; of fewer the formula says little
SUBMISSIONS = "queue/submissions/templates/submissions"
LAB = "lessons/templates/lessons/lab"
PAGES = [
    *(f"{SUBMISSIONS}/{name}.html" for name in ("part_list", "submission_report", "report_acts", "report_standing")),
    *(f"{LAB}/{name}.html" for name in ("sheet", "argument", "coasting", "list", "paper", "no_team")),
    "makerlab/templates/parts/drop.html",
    "lessons/templates/lessons/sign_in.html",
    "queue/submissions/permissions.py",
]
SAID = (
    re.compile(r'translate "([^"]+)"'),
    re.compile(r"blocktranslate[^%]*%\}(.*?)\{% endblocktranslate", re.DOTALL),
    re.compile(r'_\(\s*"([^"]+)"'),
    re.compile(r"""_\("([^"]+)"\)"""),
)


def texts_of(path: str) -> list[str]:
    """The texts of a page that go through gettext, its figures as a number."""
    source = (ROOT / path).read_text()
    found = dict.fromkeys(text for pattern in SAID for text in pattern.findall(source))
    return [re.sub(r"\s+", " ", re.sub(r"\{%.*?%\}", " ", re.sub(r"\{\{.*?\}\}", "9", text))) for text in found]


def sentences_of(texts: list[str]) -> list[str]:
    return [part.strip() for text in texts for part in SENTENCE_END.split(text) if WORD.search(part)]


def test_the_grade_is_that_of_the_formula():
    """Wikipedia, "Flesch-Kincaid readability tests": 13 words with 24 syllables have grade 11.3."""
    text = "The Australian platypus is seemingly a hybrid of a mammal and reptilian creature."
    assert round(grade(text), 1) == 11.3
    assert [syllables(word) for word in ("wheel", "printer", "overhang", "filament")] == [1, 2, 3, 3]


@pytest.mark.parametrize("code", list(ENTRIES))
def test_a_finding_is_readable_in_grade_6(code: str):
    entry = ENTRIES[code]
    text = " ".join(f"{part.rstrip('.')}." for part in (entry.title, entry.why, entry.mend) if part)
    assert grade(text) <= GRADE_MOST, text


@pytest.mark.parametrize("path", PAGES)
def test_a_page_is_readable_in_grade_6(path: str):
    texts = texts_of(path)
    assert texts, "nothing is read from this file: the page has moved"
    assert grade(". ".join(texts)) <= GRADE_MOST
    hard = {
        sentence: round(grade(sentence), 1)
        for sentence in sentences_of(texts)
        if len(WORD.findall(sentence)) >= LONG_ENOUGH and grade(sentence) > GRADE_MOST + 2
    }
    assert hard == {}, "no single sentence lies more than two grades above"
