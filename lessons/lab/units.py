"""Units of an experiment, by pint: whether one is known, and how one converts to another."""

from __future__ import annotations

from functools import lru_cache
from typing import Any

LONGEST = 24


@lru_cache(maxsize=1)
def _registry() -> Any:
    import pint  # a third of a second, and only when a plan is read

    return pint.UnitRegistry(autoconvert_offset_to_baseunit=True)


@lru_cache(maxsize=256)
def is_unit(text: str) -> bool:
    """Whether pint knows a unit of that name."""
    if len(text) > LONGEST or not text.isprintable():
        return False
    try:
        _registry().Unit(text)
    except Exception:  # noqa: BLE001 - pint raises errors of its own, of its parser and of tokenize
        return False
    return True


@lru_cache(maxsize=256)
def converts(unit: str, other: str) -> bool:
    """Whether a value in one unit is that value times a factor in the other. A bare number converts to itself only,
    although an angle has no dimension either; degrees Celsius convert to themselves only, their zero being elsewhere.
    """
    if unit == other:
        return True
    if not unit or not other or not (is_unit(unit) and is_unit(other)):
        return False
    quantity = _registry().Quantity
    try:
        zero, one, two = (float(quantity(value, unit).to(other).magnitude) for value in (0.0, 1.0, 2.0))
    except Exception:  # noqa: BLE001 - as above
        return False
    return abs(zero) < 1e-12 * max(abs(one), 1e-30) and abs(two - 2 * one) <= 1e-9 * abs(one)


@lru_cache(maxsize=256)
def factor(unit: str, other: str) -> float:
    """What a value in ``unit`` is multiplied by to be in ``other``. ValueError where it does not convert."""
    if unit == other:
        return 1.0
    if not converts(unit, other):
        raise ValueError(f"{unit!r} does not convert to {other!r}")
    return float(_registry().Quantity(1.0, unit).to(other).magnitude)
