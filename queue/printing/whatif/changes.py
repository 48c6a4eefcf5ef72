"""What is different in a situation that is not so; kept in ``WhatIf.changes`` as JSON."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date, datetime, time
from typing import Any

INFILL_MOST = 1.0


@dataclass(frozen=True)
class Hours:
    """Somebody is there on that date beyond the usual hours, by the school's wall clock."""

    day: date
    starts_at: time
    ends_at: time
    staff: int = 1


@dataclass(frozen=True)
class Changes:
    """By id: printers taken out of service or put back, printers of which there is one more (a printer may be named
    more than once), extra hours, the printers that may run with nobody there (None: as now), infill share by
    assignment, start of a meeting, and more copies of each part for each team of an assignment."""

    out: tuple[int, ...] = ()
    back: tuple[int, ...] = ()
    added: tuple[int, ...] = ()
    hours: tuple[Hours, ...] = ()
    unattended: tuple[int, ...] | None = None
    infill: dict[int, float] = field(default_factory=dict)
    meetings: dict[int, datetime] = field(default_factory=dict)
    spares: dict[int, int] = field(default_factory=dict)

    @property
    def is_empty(self) -> bool:
        return self == Changes()

    def to_json(self) -> dict[str, Any]:
        return {
            "out": list(self.out),
            "back": list(self.back),
            "added": list(self.added),
            "hours": [[each.day.isoformat(), f"{each.starts_at:%H:%M}", f"{each.ends_at:%H:%M}", each.staff]
                      for each in self.hours],
            "unattended": None if self.unattended is None else list(self.unattended),
            "infill": {str(key): share for key, share in self.infill.items()},
            "meetings": {str(key): moment.isoformat() for key, moment in self.meetings.items()},
            "spares": {str(key): more for key, more in self.spares.items()},
        }  # fmt: skip

    @classmethod
    def from_json(cls, values: dict[str, Any]) -> Changes:
        unattended = values.get("unattended")
        return cls(
            out=tuple(values.get("out", ())),
            back=tuple(values.get("back", ())),
            added=tuple(values.get("added", ())),
            hours=tuple(
                Hours(date.fromisoformat(day), time.fromisoformat(start), time.fromisoformat(end), staff)
                for day, start, end, staff in values.get("hours", ())
            ),
            unattended=None if unattended is None else tuple(unattended),
            infill={int(key): float(share) for key, share in values.get("infill", {}).items()},
            meetings={int(key): datetime.fromisoformat(at) for key, at in values.get("meetings", {}).items()},
            spares={int(key): int(more) for key, more in values.get("spares", {}).items()},
        )
