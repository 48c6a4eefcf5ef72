"""What is different in a what-if, line by line, in words; and what to take care of."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from lessons.models import Assignment, Meeting
from makerlab.accounts.models import User
from makerlab.components.figures import day_clock, short_day
from printing.models import Printer, Room
from printing.whatif.changes import Changes


@dataclass(frozen=True)
class Line:
    """One change; ``care`` where it can hurt or costs more than time."""

    words: str
    care: str = ""


class Names:
    """What the lines call printers, classes and meetings: those the reader may see."""

    def __init__(self, room: Room, user: User) -> None:
        self.room, self.user = room, user

    @cached_property
    def printers(self) -> dict[int, Printer]:
        return {printer.pk: printer for printer in Printer.objects.filter(room=self.room)}

    @cached_property
    def classes(self) -> dict[int, str]:
        assignments = Assignment.objects.visible_to(self.user).select_related("school_class")
        return {row.pk: str(row.school_class) for row in assignments}

    @cached_property
    def meetings(self) -> dict[int, Meeting]:
        return {row.pk: row for row in Meeting.objects.visible_to(self.user).select_related("school_class")}

    def printer(self, pk: int) -> str:
        return str(self.printers.get(pk, _("a printer that is gone")))

    def school_class(self, pk: int) -> str:
        return self.classes.get(pk, _("another class"))

    def meeting(self, pk: int) -> str:
        row = self.meetings.get(pk)
        return str(row.school_class) if row else _("another class")


def unattended_care() -> str:
    """The caution of printing with nobody in the room."""
    return _(
        "A print that goes on with nobody there can jam, come off the bed, overheat or burn. It takes the school's "
        "written permission and the maker's; a smoke alarm that is heard, nothing that burns nearby. Local code "
        "comes first."
    )


def lines(changes: Changes, names: Names) -> list[Line]:
    """In the order in which they are applied."""
    return list(_lines(changes, names))


def _lines(changes: Changes, names: Names) -> Iterator[Line]:
    for pk in changes.out:
        yield Line(_("%(printer)s is out of service") % {"printer": names.printer(pk)})
    for pk in changes.back:
        yield Line(_("%(printer)s is back in service") % {"printer": names.printer(pk)})
    for pk in changes.added:
        yield Line(_("One more printer like %(printer)s") % {"printer": names.printer(pk)})
    for each in changes.hours:
        values = {
            "day": short_day(each.day),
            "start": f"{each.starts_at:%H:%M}",
            "end": f"{each.ends_at:%H:%M}",
            "count": each.staff,
        }
        yield Line(
            ngettext(
                "Somebody is there %(day)s, %(start)s to %(end)s",
                "%(count)d people are there %(day)s, %(start)s to %(end)s",
                each.staff,
            )
            % values
        )
    if changes.unattended is not None:
        for pk, printer in names.printers.items():
            if printer.may_run_unattended == (pk in changes.unattended):
                continue
            if pk in changes.unattended:
                yield Line(_("%(printer)s may print with nobody there") % {"printer": printer}, unattended_care())
            else:
                yield Line(_("%(printer)s prints only while somebody is there") % {"printer": printer})
    for pk, share in changes.infill.items():
        yield Line(
            _("%(class)s: %(share)d %% infill") % {"class": names.school_class(pk), "share": round(100 * share)},
            _("Less infill bends and breaks sooner: print one and try it before the whole class."),
        )
    for pk, at in changes.meetings.items():
        yield Line(_("%(class)s: lab day %(when)s") % {"class": names.meeting(pk), "when": day_clock(at)})
    for pk, more in changes.spares.items():
        yield Line(
            ngettext(
                "%(class)s: one more copy of each part for every team",
                "%(class)s: %(more)d more copies of each part for every team",
                more,
            )
            % {"class": names.school_class(pk), "more": more}
        )
