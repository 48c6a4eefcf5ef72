"""What a model answers, and what its modules share: units, and how well a print follows its drawing."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from lessons.lab.parts import MASS_SHARE, LabPart
from lessons.lab.told import Told
from lessons.lab.unknown import why_not
from lessons.science.values import Measured, Unknown

BALANCE_G = 0.5  # a school balance (common practice, no source)


@dataclass(frozen=True, slots=True)
class Figure:
    """A number the formula takes or gives. ``source``: where it comes from, in words."""

    label: str
    value: str
    unit: str
    source: str


@dataclass(frozen=True)
class Expected:
    """By value of the changed variable. ``simple`` explains it without a formula, ``formula`` with one; ``source``
    names the book. ``told``: what follows for this part."""

    values: Mapping[float, Measured | Unknown]
    figures: Sequence[Figure] = ()
    told: Sequence[Told] = ()
    simple: Sequence[str] = ()
    formula: str = ""
    source: str = ""

    @property
    def known(self) -> dict[float, Measured]:
        return {at: value for at, value in self.values.items() if isinstance(value, Measured)}

    @property
    def without(self) -> str:
        """Why no figure can be given; empty when one can."""
        reasons = [why_not(value) for value in self.values.values() if isinstance(value, Unknown)]
        return "" if self.known or not reasons else sentence(reasons[0])


def sentence(text: str) -> str:
    return text[:1].upper() + text[1:] + ("" if text.endswith((".", "?", "!")) else ".")


def scaled(value: Measured | Unknown, factor: float) -> Measured | Unknown:
    """The same in another unit."""
    if isinstance(value, Unknown):
        return value
    return Measured(value.value * factor, value.uncertainty * abs(factor), value.df)


def mass_of(part: LabPart) -> Measured:
    """In g, as estimated from the layers."""
    return Measured(part.mass_g, MASS_SHARE * part.mass_g)


def plus_minus(value: Measured, decimals: int) -> str:
    """The value with its standard uncertainty; both get another decimal where that would round to nothing."""
    more = decimals if round(value.uncertainty, decimals) > 0 or value.uncertainty == 0 else decimals + 1
    minus = "\u2212" if value.value < 0 else ""
    return f"{minus}{abs(value.value):.{more}f}\u00a0±\u00a0{value.uncertainty:.{more}f}"
