"""The pile of the review desk: what waits, narrowed to a class, a part or a finding."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any
from urllib.parse import urlencode

from django.db.models import F
from django.http import QueryDict
from django.utils.text import capfirst

from makerlab.accounts.models import User
from meshcheck.types import Level
from submissions import queries
from submissions.models import Submission


@dataclass(frozen=True)
class Choice:
    """One value of a filter, in words, and how many of the whole pile have it."""

    value: str
    words: str
    count: int


@dataclass(frozen=True)
class Pile:
    """``parts`` are what the filters leave of ``whole``, in the same order; ``query`` repeats the filters in addresses,
    with its question mark, empty when there are none."""

    whole: Sequence[Submission]
    parts: Sequence[Submission]
    chosen: dict[str, str]

    @property
    def query(self) -> str:
        return f"?{urlencode(self.chosen)}" if self.chosen else ""

    @property
    def keys(self) -> list[int]:
        return [part.pk for part in self.parts]

    def class_choices(self) -> list[Choice]:
        return _choices([(str(part.team.school_class_id), str(part.team.school_class)) for part in self.whole])

    def part_choices(self) -> list[Choice]:
        return _choices([(part.kit_part.code, capfirst(part.kit_part.name)) for part in self.whole])

    def finding_choices(self) -> list[Choice]:
        """What is not fine, by the finding's code; its words are those of the first part that has it."""
        words: dict[str, str] = {}
        for part in self.whole:
            for finding in not_fine(part):
                words.setdefault(str(finding["code"]), str(finding["title"]))
        return _choices([(code, words[code]) for part in self.whole for code in sorted(codes(part))])


FILTERS = ("class", "part", "finding")


def pile_of(user: User, asked: QueryDict) -> Pile:
    """What waits for this person, narrowed as the address asks. Two queries."""
    whole = list(queries.review_pile(user).light().annotate(told=F("report__findings")))
    chosen = {name: str(asked[name]) for name in FILTERS if asked.get(name)}
    return Pile(whole, [part for part in whole if _fits(part, chosen)], chosen)


def _fits(part: Submission, chosen: dict[str, str]) -> bool:
    return (
        chosen.get("class") in {None, str(part.team.school_class_id)}
        and chosen.get("part") in {None, part.kit_part.code}
        and ("finding" not in chosen or chosen["finding"] in codes(part))
    )


def not_fine(part: Submission) -> list[dict[str, Any]]:
    """Its findings that must be fixed or are advice."""
    told = getattr(part, "told", None) or []
    return [finding for finding in told if finding["level"] != Level.PASSES]


def codes(part: Submission) -> set[str]:
    return {str(finding["code"]) for finding in not_fine(part)}


def _choices(found: list[tuple[str, str]]) -> list[Choice]:
    counts = Counter(value for value, _words in found)
    return [
        Choice(value, words, counts[value]) for value, words in sorted(dict(found).items(), key=lambda pair: pair[1])
    ]
