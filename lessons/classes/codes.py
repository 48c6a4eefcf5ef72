"""Class codes and picture PINs, drawn by the system's own source of chance."""

from __future__ import annotations

import secrets
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor

from lessons.signin import PICTURES, PIN_LENGTH, hashed_pin

# short words a class can spell: plants, none with letters that are read for others
WORDS = (
    "ASTER", "BEECH", "BIRCH", "CEDAR", "CLOVER", "DAISY", "ELDER", "FERN", "HAZEL", "HEATH", "IVY", "LARCH", "LILAC",
    "MAPLE", "MOSS", "OAK", "PINE", "POPPY", "REED", "ROWAN", "RUSH", "SEDGE", "TANSY", "THYME", "VETCH", "WILLOW",
    "YARROW", "YEW",
)  # fmt: skip
DIGITS = "23456789"  # none that is read for a letter
HASHED_AT_ONCE = 4  # a hash is slow on purpose and releases the interpreter: a class is done in a few seconds


def new_code() -> str:
    """Such as PINE-4729. It names a class; who gets in is decided by nickname and pictures."""
    return f"{secrets.choice(WORDS)}-{''.join(secrets.choice(DIGITS) for _ in range(4))}"


def new_pin() -> tuple[str, ...]:
    """Four pictures in order; a picture may come twice."""
    return tuple(secrets.choice(PICTURES) for _ in range(PIN_LENGTH))


def hashed(pins: Sequence[tuple[str, ...]]) -> list[str]:
    """The pins as they are stored, in the same order."""
    with ThreadPoolExecutor(HASHED_AT_ONCE) as pool:
        return list(pool.map(lambda pin: hashed_pin(",".join(pin)), pins))
