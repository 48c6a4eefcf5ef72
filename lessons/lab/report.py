"""A team's lab report on paper."""

from __future__ import annotations

from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from lessons.lab.after import ArgumentPage
from lessons.lab.coasting import CoastingPage
from lessons.lab.expectation import ExpectationPage
from lessons.lab.model_page import ModelPage
from lessons.lab.told import CellView
from makerlab.paper import Document, page_size_for

LINES, LINE_MM = 4, 9  # ruled lines for what nobody has written yet


def lab_report(
    page: ArgumentPage, expected: ExpectationPage | ModelPage | None, coasting: CoastingPage | None
) -> bytes:
    """The report of one team as PDF: question, way of measuring, readings, coast-downs, graphs, what physics expects,
    argument, marks. ``expected`` is None for an experiment without a model, ``coasting`` for one without a cart."""
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
    for design in page.result.all_designs:
        cells = [CellView(experiment, cell) for cell in design.cells if cell.entries]
        if not cells:
            continue
        unit = f", {experiment.measured.unit}" if experiment.measured.unit else ""
        document.paragraph(design.label.capitalize())
        document.table(
            [experiment.changed.name.capitalize(), _("Runs") + unit, _("Mean and standard error")],
            [[cell.label, cell.times, cell.mean] for cell in cells],
        )
        for note in _notes(cells):
            document.paragraph(note, small=True)
    for figure in page.figures:
        document.chart(figure.chart, share=0.6)
    if coasting is not None and coasting.rows:
        _coast_downs(document, coasting)
    if expected is not None and not expected.without:
        document.heading(_("What physics expects of the %(design)s") % {"design": expected.design.label})
        if isinstance(expected, ModelPage):
            _modelled(document, expected)
        else:
            _expected(document, expected)
        for told in expected.told:
            document.labelled(f"{told.title}.", told.text)
    _argument(document, page)
    if page.support:
        document.heading(_("What the numbers support"))
        for told in page.support:
            document.labelled(f"{told.title}.", told.text)
    if page.rubric:
        _rubric(document, page)
    return document.pdf()


def _argument(document: Document, page: ArgumentPage) -> None:
    for title, text in ((_("Claim"), page.claim), (_("Evidence"), page.evidence), (_("Reasoning"), page.reasoning)):
        document.heading(title)
        if title == _("Claim") and page.said:
            document.paragraph(page.said)
            if page.verdict is not None:
                document.labelled(f"{page.verdict.words[:1].upper()}{page.verdict.words[1:]}:", page.verdict.why)
        if text:
            document.paragraph(text)
        else:
            document.table([], [[""]] * LINES, row_height=LINE_MM)  # ruled, to be written by hand


def _rubric(document: Document, page: ArgumentPage) -> None:
    """All levels, the one given marked; boxes to tick by hand while there is none."""
    document.heading(_("How it is judged"))
    rows = []
    for row in page.rubric:
        given = row.mark.level if row.mark else None
        rows.append([row.name, *(f"[{'x' if level == given else '  '}] {text}" for level, text in row.levels)])
    document.table([_("Row"), "1", "2", "3", "4"], rows, shares=(3, 4, 4, 4, 4))
    for mark in page.marks.values():
        said = f" {mark.comment}" if mark.comment else ""
        document.labelled(f"{mark.row_name[:1].upper()}{mark.row_name[1:]}:", f"{mark.level} / 4.{said}")


def _coast_downs(document: Document, page: CoastingPage) -> None:
    document.heading(_("Coast-downs"))
    head = [_("Wheels"), _("Measured"), _("Way to rest"), _("Began with"), _("Loss in 100 of the weight")]
    rows = [[view.row.design, view.measured, view.way, view.speed, view.share] for view in page.views]
    document.table(head, rows, shares=(3, 5, 2, 2, 3))


def _expected(document: Document, page: ExpectationPage) -> None:
    head = [page.experiment.changed.name.capitalize(), _("Without loss"), _("Expected"), _("Measured"), _("Do they agree?")]  # fmt: skip  # noqa: E501
    words = _agreement()
    document.table(head, [[row.label, row.lossless, row.expected, row.measured, words[row.agree]] for row in page.rows])


def _agreement() -> dict[bool | None, str]:
    return {True: _("within their uncertainty"), False: _("further apart than that"), None: _("not yet known")}


def _modelled(document: Document, page: ModelPage) -> None:
    """Expected beside measured for a model, or why nothing can be given, and the figures it rests on."""
    if page.unknown:
        document.labelled(_("Unknown:"), page.unknown)
    else:
        head = [page.experiment.changed.name.capitalize(), _("Expected"), _("Measured"), _("Do they agree?")]
        words = _agreement()
        rows = [[row.label, row.expected, row.measured, row.why or words[row.agree]] for row in page.rows]
        document.table(head, rows, shares=(2, 3, 3, 4))
    if page.expected.figures:
        head = [_("Figure"), _("Value"), _("Where it comes from")]
        document.table(head, [[f.label, f"{f.value} {f.unit}".strip(), f.source] for f in page.expected.figures])
    if page.expected.formula:
        document.paragraph(f"{page.expected.formula}. {page.expected.source}", small=True)


def _notes(cells: list[CellView]) -> list[str]:
    """What the team wrote beside single runs."""
    return [
        _("%(at)s, trial %(trial)d: %(note)s") % {"at": cell.label, "trial": entry.trial, "note": entry.note}
        + (" (" + _("left out") + ")" if entry.left_out else "")
        for cell in cells
        for entry in cell.cell.entries
        if entry.note
    ]
