"""A lesson on paper: the plan for the teacher, and the sheet of a student with cautions, steps, words and worksheet."""

from __future__ import annotations

from collections.abc import Iterable

from django.utils.translation import gettext as _

from lessons.lab import charts
from lessons.lab.experiment import Experiment
from lessons.models import KitPart, LessonPlan
from lessons.plan_pages import MeetingSteps, PlanPage
from lessons.plans.cautions import told
from lessons.plans.expected import Expected
from lessons.plans.schema import WHEN_WORDS, assessed_when
from lessons.showing import picture_of
from makerlab.components.figures import grams, hours_and_minutes
from makerlab.components.filament import filament_of
from makerlab.paper import Document, page_size_for

WORKSHEET_ROW_MM = 9
GRAPH_SHARE = 0.8  # of the width: table and graph paper of two designs stand on one page


def plan_pdf(page: PlanPage) -> bytes:
    """Everything a teacher needs, as PDF."""
    plan, text = page.plan, page.text
    document = _begun(plan, _("Lesson plan, grades %(grades)s") % {"grades": plan.grade_band})
    document.paragraph(plan.summary)
    _in_short(document, page)
    _list(document, _("Objectives"), text.get("objectives"))
    if text.get("standards"):
        document.heading(_("Standards, in our words"))
        document.table([], [[row["code"], row["text"]] for row in text["standards"]], shares=(1, 5))
    _list(document, _("Where engineers meet this"), text.get("connection"))
    _list(document, _("Known before"), text.get("background"))
    _cautions(document, text["cautions"], with_source=True)
    _kit(document, page)
    _materials(document, _("For each team"), text.get("materials_per_team"))
    _materials(document, _("For the whole class"), text.get("materials_shared"))
    _list(document, _("Before class"), text.get("preparation"), numbered=True)
    for each in page.off:
        document.paragraph(each.told, small=True)
    _steps(document, page.meetings)
    _words(document, text.get("vocabulary"))
    _expected(document, text["expected"])
    _list(document, _("To talk about"), text.get("discussion"), numbered=True)
    _list(document, _("More help, more challenge"), text.get("differentiation"))
    _list(document, _("To go further"), text.get("extensions"))
    if text.get("troubleshooting"):
        document.heading(_("When it does not work"))
        rows = [[row["see"], row["try"]] for row in text["troubleshooting"]]
        document.table([_("You see"), _("Try")], rows, shares=(2, 3))
    if text.get("rubric"):
        document.heading(_("Rubric"))
        rows = [[row["row"], *row["levels"]] for row in text["rubric"]]
        document.table([_("Row"), "1", "2", "3", "4"], rows, shares=(3, 4, 4, 4, 4))
    if text.get("assessment"):
        document.heading(_("How you see what they learned"))
        rows = [[assessed_when(row["when"]).capitalize(), row["text"]] for row in text["assessment"]]
        document.table([], rows, shares=(1, 5))
    _list(document, _("Sources"), text.get("sources"))
    return document.pdf()


def student_pdf(page: PlanPage) -> bytes:
    """What a student needs on paper, as PDF: nothing of the staff's side."""
    plan, text = page.plan, page.text
    document = _begun(plan, _("Name %(line)s  Team %(line)s  Date %(line)s") % {"line": "_" * 22})
    document.paragraph(plan.summary)
    for part in page.parts:
        if part.redesignable and part.task:
            document.labelled(_("Your task, %(part)s:") % {"part": part.name}, part.task)
    _pictures(document, page.parts)
    _cautions(document, text["cautions"], with_source=False)
    _materials(document, _("Your team needs"), text.get("materials_per_team"))
    _steps(document, page.meetings)
    _words(document, text.get("vocabulary"))
    experiment = page.experiment
    if experiment is not None:
        _worksheet(document, experiment)
    return document.pdf()


def _begun(plan: LessonPlan, over: str) -> Document:
    school = plan.school
    return Document(plan.title, over=over, foot=f"{school.name}, {plan.title}", size=page_size_for(school.time_zone))


def _in_short(document: Document, page: PlanPage) -> None:
    plan, cost = page.plan, page.cost
    said = [
        _("%(count)d meetings") % {"count": plan.meetings_count},
        _("teams of %(count)d") % {"count": plan.group_size},
    ]
    if cost is not None:
        said.append(_("cost of a team: %(sum)s") % {"sum": cost.whole})
        if cost.unpriced_g:
            said.append(_("%(grams)s without a price not counted") % {"grams": grams(cost.unpriced_g)})
        if cost.unknown:
            said.append(_("not measured yet: %(names)s") % {"names": ", ".join(cost.unknown)})
    said += (
        [_("subjects: %(names)s") % {"names": ", ".join(page.text["subjects"])}] if page.text.get("subjects") else []
    )
    document.labelled(_("In short:"), "; ".join(said) + ".")
    if plan.adapted_from_id and plan.adapted_from:
        document.paragraph(_("Adapted from %(title)s.") % {"title": plan.adapted_from.title}, small=True)


def _list(document: Document, title: str, texts: list[str] | None, numbered: bool = False) -> None:
    if texts:
        document.heading(title)
        document.items(texts, numbered=numbered)


def _cautions(document: Document, rows: list[dict[str, str]], with_source: bool) -> None:
    document.heading(_("Cautions"))
    for when, word in WHEN_WORDS:
        said = [(told(row["text"]), told(row["source"])) for row in rows if row.get("when") == when]
        texts = [f"{text} ({source})" if with_source else text for text, source in said]
        if texts:
            document.caution(str(word).capitalize(), texts)


def _kit(document: Document, page: PlanPage) -> None:
    if not page.parts:
        return
    document.heading(_("The kit"))
    head = [_("Part"), _("For a team"), _("Spares"), _("Material"), _("Each weighs"), _("Each takes")]
    rows = [
        [
            part.name, str(part.copies_per_team), str(part.spares), filament_of(part),
            grams(part.mass_g), hours_and_minutes(part.duration_s),
        ]
        for part in page.parts
    ]  # fmt: skip
    document.table(head, rows, shares=(3, 1.4, 1.2, 2.2, 1.8, 1.8))
    _pictures(document, page.parts)


def _pictures(document: Document, parts: Iterable[KitPart]) -> None:
    pictures = [(picture_of(part), part.name) for part in parts]
    document.pictures([(png, name) for png, name in pictures if png is not None])


def _materials(document: Document, title: str, rows: list[dict[str, object]] | None) -> None:
    if rows:
        document.heading(title)
        cells = [[f"{row[name]}" for name in ("quantity", "what", "note")] for row in rows]
        document.table([], cells, shares=(1, 5, 5))


def _steps(document: Document, meetings: list[MeetingSteps]) -> None:
    for meeting in meetings:
        words = {"number": meeting.number, "minutes": meeting.minutes}
        document.heading(_("Meeting %(number)d, %(minutes)d min") % words)
        for step in meeting.steps:
            if step["before"]:
                document.caution(_("First read"), [told(row["text"]) for row in step["before"]])
            words = {"minutes": step["minutes"], "title": step["title"].rstrip(".")}
            document.labelled(_("%(title)s (%(minutes)s min).") % words, step["text"])


def _words(document: Document, rows: list[dict[str, str]] | None) -> None:
    if rows:
        document.heading(_("Words"))
        cells = [cell for row in rows for cell in (row["word"], row["meaning"])]
        cells += ["", ""] * (len(rows) % 2)  # two words in a row
        document.table([], [cells[at : at + 4] for at in range(0, len(cells), 4)], shares=(2, 5, 2, 5))


def _expected(document: Document, expected: Expected | None) -> None:
    if expected is None:
        return
    document.heading(_("What to expect"))
    for label, words in ((_("How it is worked out:"), expected.how), (_("What it rests on:"), expected.based_on)):
        if words:
            document.labelled(label, words)
    document.table(expected.head, expected.rows)
    document.items(expected.notes)


def _worksheet(document: Document, experiment: Experiment) -> None:
    with document.together():
        _tables(document, experiment)
    document.chart(charts.blank_chart(experiment), share=GRAPH_SHARE)


def _tables(document: Document, experiment: Experiment) -> None:
    document.heading(_("Worksheet"))
    document.items(experiment.worksheet, numbered=True)
    if experiment.constant:
        document.labelled(_("Stays the same:"), ", ".join(experiment.constant) + ".")
    head = [experiment.changed.name.capitalize(), *([_("As weighed")] if experiment.weigh else [])]
    head += [_("Trial %(number)d") % {"number": number} for number in range(1, experiment.trials + 1)]
    head.append(_("Mean"))
    blank = [""] * (len(head) - 1)
    for design in experiment.designs:
        document.heading(design.capitalize())
        rows = [[charts.changed_with_unit(experiment, value), *blank] for value in experiment.tried]
        if experiment.predicted is not None:
            label = charts.changed_with_unit(experiment, experiment.predicted)
            rows.append([_("%(label)s, predicted:") % {"label": label}, *blank])
        document.table(head, rows, row_height=WORKSHEET_ROW_MM, shares=(1.6, *([1] * len(blank))))
