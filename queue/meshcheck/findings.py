"""Fill in a finding of the catalogue."""

from __future__ import annotations

from meshcheck.catalogue import ENTRIES
from meshcheck.types import Finding, Level, MeshRejected, Note, Scale

Figure = float | int | str | None


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
        title=entry.title.format(**filled),
        figure=entry.figure.format(**filled),
        why=entry.why.format(**filled),
        mend=entry.mend.format(**filled),
        limit_source=entry.limit_source,
        scale=Scale(value, low, high, entry.unit, entry.decimals) if measured and value is not None else None,
    )


def allowed(low: float | None, high: float | None, unit: str, decimals: int) -> str:
    """The limits in words: "3.15 to 3.30 mm", "at least 0.84 mm", "at most 14.0 g"."""
    if low is not None and high is not None:
        return f"{low:.{decimals}f} to {high:.{decimals}f} {unit}"
    if low is not None:
        return f"at least {low:.{decimals}f} {unit}"
    return f"at most {high:.{decimals}f} {unit}" if high is not None else ""


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
