"""Fill in a finding of the catalogue."""

from __future__ import annotations

from meshcheck.catalogue import ENTRIES
from meshcheck.types import Finding, Level, MeshRejected, Note, Scale
from telling import told

Figure = float | int | str | None
# by the decimals of a measure
TO = ("{low:.0f} to {high:.0f} {unit}", "{low:.1f} to {high:.1f} {unit}", "{low:.2f} to {high:.2f} {unit}")
AT_LEAST = ("at least {low:.0f} {unit}", "at least {low:.1f} {unit}", "at least {low:.2f} {unit}")
AT_MOST = ("at most {high:.0f} {unit}", "at most {high:.1f} {unit}", "at most {high:.2f} {unit}")


def make(code: str, **values: Figure) -> Finding:
    """The finding ``code`` with its figures filled in.

    ``value`` with ``low`` or ``high`` gives the scale beside the text and ``{allowed}`` in it. KeyError for a code
    or a figure that is missing: that is a mistake in the program, not in the part.
    """
    entry = ENTRIES[code]
    value, low, high = (_number(values.get(name)) for name in ("value", "low", "high"))
    filled: dict[str, Figure] = {"where": "", **values}
    filled["allowed"] = allowed(low, high, entry.unit, entry.decimals)
    measured = value is not None and (low is not None or high is not None)
    return Finding(
        code=code,
        level=entry.level,
        title=told(entry.title, **filled),
        figure=told(entry.figure, **filled),
        why=told(entry.why, **filled),
        mend=told(entry.mend, **filled),
        limit_source=told(entry.limit_source),
        scale=Scale(value, low, high, entry.unit, entry.decimals) if measured and value is not None else None,
    )


def allowed(low: float | None, high: float | None, unit: str, decimals: int) -> str:
    """The limits in words: "3.15 to 3.30 mm", "at least 0.84 mm", "at most 14.0 g"."""
    if low is not None and high is not None:
        return told(TO[decimals], low=low, high=high, unit=unit)
    if low is not None:
        return told(AT_LEAST[decimals], low=low, unit=unit)
    return told(AT_MOST[decimals], high=high, unit=unit) if high is not None else ""


def from_note(note: Note) -> Finding:
    """What the reader noticed, as a finding that passes."""
    code = note.code if note.code in ENTRIES else "note"
    made = make(code, message=note.message)
    return Finding(note.code, made.level, made.title, made.figure)


def from_rejection(rejected: MeshRejected) -> Finding:
    """Why a file cannot be measured at all; keeps the code of the rejection."""
    made = make("rejected", message=rejected.message, mend=rejected.mend)
    return Finding(rejected.code, made.level, made.title, made.figure, made.why, made.mend)


def worst(findings: tuple[Finding, ...]) -> Level:
    """The most serious level among findings."""
    order = [Level.PASSES, Level.ADVICE, Level.MUST_FIX]
    return max((finding.level for finding in findings), key=order.index, default=Level.PASSES)


def _number(value: Figure) -> float | None:
    return float(value) if isinstance(value, int | float) else None
