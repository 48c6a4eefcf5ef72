"""Nicknames: cleaned, compared, and told apart."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Collection

NICKNAME_MAX = 40
_LOOKED_AT = 200
_DROPPED = frozenset({"Cc", "Cf", "Cs", "Co", "Cn"})  # control, direction marks, halves of pairs: never part of a name
_EMAIL = re.compile(r"\S+@\S+\.\S+")
_PHONE = re.compile(r"[\d\s()+./-]{7,}")
_FULL_NAME = re.compile(r"[^\W\d_]{2,}[.]? (?:\S+ )*[^\W\d_]{3,}")


def clean(text: str) -> str:
    """The text in composed form, without control and direction characters, with single spaces."""
    composed = unicodedata.normalize("NFC", text.replace("\t", " "))
    kept = "".join(
        " " if c.isspace() else c for c in composed if c.isspace() or unicodedata.category(c) not in _DROPPED
    )
    return " ".join(kept.split())


def key(nickname: str) -> str:
    """Two nicknames with the same key are the same to people: case and width do not count."""
    return unicodedata.normalize("NFKC", unicodedata.normalize("NFKC", nickname).casefold())


def fault(nickname: str) -> str:
    """The code of what is wrong with a cleaned nickname, or nothing."""
    if not nickname:
        return "no_nickname"
    start = nickname[:_LOOKED_AT]  # the pattern of an address takes time that grows with the square of the length
    if _EMAIL.search(start):
        return "email"
    if _PHONE.fullmatch(start) and sum(c.isdigit() for c in start) >= 7:
        return "phone"
    if len(nickname) > NICKNAME_MAX:
        return "long_nickname"
    if not any(c.isalnum() or unicodedata.category(c) == "So" for c in nickname):
        return "no_letter"
    return ""


def looks_full(nickname: str) -> bool:
    """Two words of letters, the last of three or more: a first and a family name, most likely."""
    return _FULL_NAME.fullmatch(nickname) is not None


def told_apart(name: str, initial: str, taken: Collection[str], *, alone: bool) -> str:
    """A nickname for ``name`` whose key is not in ``taken``: the name itself if it is the only one of the list, else
    with the initial of the family name, else with a number."""
    name = name[:NICKNAME_MAX]
    if alone and key(name) not in taken:
        return name
    with_initial = f"{name[: NICKNAME_MAX - 3].rstrip()} {initial.upper()}." if initial else name
    if initial and key(with_initial) not in taken:
        return with_initial
    number = 2
    while key(numbered := f"{with_initial[: NICKNAME_MAX - 4].rstrip()} {number}") in taken:
        number += 1
    return numbered
