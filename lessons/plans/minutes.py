"""Whether the minutes of the steps add up to the meetings' length, and by how much not."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from django.utils.translation import gettext as _

from lessons.models import LessonPlan, Period
from lessons.plans.cautions import rows_of
from lessons.plans.schema import MEETING_MINUTES

USUAL_MINUTES = 50  # where a school has no bell schedule (common practice, no source)


@dataclass(frozen=True, slots=True)
class MeetingMinutes:
    """Minutes of one meeting's steps against its length."""

    number: int
    planned: int
    length: int

    @property
    def off(self) -> int:
        """Minutes too many; below zero: minutes left."""
        return self.planned - self.length

    @property
    def told(self) -> str:
        words = {"number": self.number, "planned": self.planned, "length": self.length, "off": abs(self.off)}
        if not self.planned:
            return _("Meeting %(number)d has no steps yet: %(length)d min to fill.") % words
        if self.off > 0:
            return _("Meeting %(number)d: steps take %(planned)d min, %(off)d min too many for %(length)d.") % words
        if self.off < 0:
            return _("Meeting %(number)d: steps take %(planned)d min, %(off)d min of %(length)d min are left.") % words
        return _("Meeting %(number)d: %(planned)d min, as long as the meeting.") % words


def meeting_length(content: Mapping[str, Any], school_id: int) -> int:
    """What the plan says, else the most common length of the school's periods, else USUAL_MINUTES; minutes."""
    own = content.get(MEETING_MINUTES)
    if isinstance(own, int) and own > 0:
        return own
    periods = Period.objects.filter(day_kind__school_id=school_id).values_list("starts_at", "ends_at")
    lengths = Counter(60 * (end.hour - start.hour) + end.minute - start.minute for start, end in periods)
    fit = {length: count for length, count in lengths.items() if 20 <= length <= 200}
    return max(fit, key=lambda length: (fit[length], length)) if fit else USUAL_MINUTES


def minutes_of(content: Mapping[str, Any], meetings: int, length: int) -> list[MeetingMinutes]:
    """Every meeting of the plan in order, also those without steps."""
    planned: Counter[int] = Counter()
    for step in rows_of(content, "steps"):
        minutes, meeting = step.get("minutes"), step.get("meeting")
        if isinstance(minutes, int) and isinstance(meeting, int):
            planned[meeting] += minutes
    return [MeetingMinutes(number, planned[number], length) for number in range(1, meetings + 1)]


def minutes_off(plan: LessonPlan) -> list[MeetingMinutes]:
    """The meetings whose steps do not add up; empty when all do."""
    length = meeting_length(plan.content, plan.school_id)
    return [each for each in minutes_of(plan.content, plan.meetings_count, length) if each.off]
