"""A team's lab report on paper."""

from __future__ import annotations

from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from lessons.lab.after import ArgumentPage
from lessons.lab.told import CellView
from makerlab.paper import Document, page_size_for


def lab_report(page: ArgumentPage) -> bytes:
    """The report of one team as PDF: question, way of measuring, readings, graphs, argument, marks."""
    assignment, experiment, school = page.assignment, page.experiment, page.assignment.school_class.school
    when = date_format(timezone.localtime(assignment.meeting.starts_at), "j F Y")
    document = Document(
        title=_("Lab report: %(plan)s") % {"plan": assignment.plan.title},
        over=_("Team %(number)d, %(name)s, class %(class)s, %(when)s")
        % {"number": page.team.number, "name": page.team.name, "class": assignment.school_class.name, "when": when},
        foot=f"{school.name}, {assignment.school_class.name}",
        size=page_size_for(school.time_zone),
    )
    document.heading(_("How we measured"))
    document.items(experiment.worksheet, numbered=True)
    if experiment.constant:
        document.labelled(_("Stays the same:"), ", ".join(experiment.constant) + ".")
    document.heading(_("What we measured"))
    for design in page.result.designs:
        cells = [CellView(experiment, cell) for cell in design.cells if cell.entries]
        if not cells:
            continue
        unit = f", {experiment.measured.unit}" if experiment.measured.unit else ""
        document.paragraph(design.design.capitalize())
        document.table(
            [experiment.changed.name.capitalize(), _("Runs") + unit, _("Mean and standard error")],
            [[cell.label, cell.times, cell.mean] for cell in cells],
        )
        for note in _notes(cells):
            document.paragraph(note, small=True)
    for _name, chart in page.figures:
        document.chart(chart)
    for title, text in ((_("Claim"), page.claim), (_("Evidence"), page.evidence), (_("Reasoning"), page.reasoning)):
        document.heading(title)
        document.paragraph(text or _("Not written yet."))
    if page.support:
        document.heading(_("What the numbers support"))
        for told in page.support:
            document.labelled(f"{told.title}.", told.text)
    if page.marks:
        document.heading(_("How it was judged"))
        document.table(
            [_("Row"), _("Level"), _("A word to the team")],
            [[mark.row_name, f"{mark.level} / 4", mark.comment] for mark in page.marks.values()],
        )
    return document.pdf()


def _notes(cells: list[CellView]) -> list[str]:
    """What the team wrote beside single runs."""
    return [
        _("%(at)s, trial %(trial)d: %(note)s") % {"at": cell.label, "trial": entry.trial, "note": entry.note}
        + (f" ({_('left out')})" if entry.left_out else "")
        for cell in cells
        for entry in cell.cell.entries
        if entry.note
    ]
