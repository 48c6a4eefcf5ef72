"""Components of our pages as template tags, built in to every template. /styleguide/ shows each in every state."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import date, datetime
from functools import lru_cache
from typing import Any

from django import template
from django.middleware.csrf import get_token
from django.template import defaultfilters
from django.template.context import Context
from django.templatetags.static import static
from django.utils import timezone
from django.utils.formats import number_format
from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString, mark_safe
from django.utils.translation import gettext as _

from makerlab.components import figures, marks
from makerlab.components import ruler as ruler_drawing
from makerlab.components.chance import chance_squares
from makerlab.components.chart import Chart
from makerlab.components.filament import filament_of
from makerlab.components.stacked import stacked

register = template.Library()


@register.simple_tag
@lru_cache(maxsize=512)
def icon(name: str, css_class: str = "icon") -> SafeString:
    """A symbol of our sprite. Decorative: words stand beside it."""
    return format_html(
        '<svg class="{}" aria-hidden="true"><use href="{}#{}"/></svg>', css_class, static("makerlab/icons.svg"), name
    )


register.filter("filament", filament_of)


class StacksNode(template.Node):
    """What stands between ``{% stacks %}`` and ``{% endstacks %}``."""

    def __init__(self, nodelist: template.NodeList) -> None:
        self.nodelist = nodelist

    def render(self, context: Context) -> SafeString:
        return mark_safe(stacked(self.nodelist.render(context)))


@register.tag
def stacks(parser: template.base.Parser, token: template.base.Token) -> StacksNode:
    """A table whose rows stand one below the other where it is narrow."""
    nodelist = parser.parse(("endstacks",))
    parser.delete_first_token()
    return StacksNode(nodelist)


def mark_html(kind: str, icon_name: str, text: Any, boxed: bool = False) -> SafeString:
    if kind not in marks.KINDS:
        raise template.TemplateSyntaxError(f"a mark is one of {', '.join(marks.KINDS)}, not {kind}")
    boxed_class = " boxed" if boxed else ""
    return format_html('<span class="mark {}{}">{}{}</span>', kind, boxed_class, icon(icon_name), text)


@register.simple_tag
def mark(kind: str, icon_name: str, text: Any, boxed: bool = False) -> SafeString:
    """A status: word and shape. ``kind`` is good, care, bad, live or plain."""
    return mark_html(kind, icon_name, text, boxed)


@register.simple_tag
def verdict_mark(verdict: str | None, boxed: bool = False) -> SafeString:
    """The mark of a report's verdict; empty: not checked."""
    return mark_html(*marks.VERDICTS.get(verdict or "", marks.NOT_CHECKED), boxed)


@register.simple_tag
def level_mark(level: str, boxed: bool = False) -> SafeString:
    """The mark of one finding's level."""
    return mark_html(*marks.LEVELS[level], boxed)


@register.simple_tag
def submission_mark(submission: Any, boxed: bool = False) -> SafeString:
    """Where a submission stands."""
    return mark_html(*marks.of_submission(submission), boxed)


@register.simple_tag
def copy_mark(state: str, tray: int | None = None, boxed: bool = False) -> SafeString:
    """Where one wanted copy stands; ``tray`` puts its number in the words."""
    return mark_html(*marks.of_copy(state, tray), boxed)


@register.simple_tag
def plate_mark(state: str, boxed: bool = False) -> SafeString:
    """Where a plate stands."""
    return mark_html(*marks.PLATES[state], boxed)


@register.simple_tag
def outcome_mark(outcome: str, boxed: bool = False) -> SafeString:
    """How a run went."""
    return mark_html(*marks.OUTCOMES[outcome], boxed)


def parts_html(parts: Iterable[tuple[str, str]]) -> SafeString:
    """Digits with small units behind them."""
    return format_html_join(figures.NO_BREAK, '{}<span class="unit">{}</span>', parts)


def figure_html(value: SafeString | str, label: str) -> SafeString:
    return format_html("<div><dt>{}</dt><dd>{}</dd></div>", label, value)


@register.simple_tag
def figure(value: Any, unit: str, label: str, decimals: int | None = None) -> SafeString:
    """A big measured figure on its dimension line; stands in ``<dl class="measures">``."""
    if value is None or value == "":
        return figure_html(format_html('<span class="unknown">{}</span>', _("not known")), label)
    digits = str(value)
    if isinstance(value, int | float):
        whole = isinstance(value, int) or abs(value) >= 1000  # a tenth of so much says nothing, and is wide on a phone
        places = decimals if decimals is not None else (0 if whole else 1)
        digits = number_format(round(value, places), places)  # number_format alone cuts off: 7.36 would read 7.3
    return figure_html(parts_html([(digits, unit)]), label)


@register.simple_tag
def figure_minutes(duration_s: Any, label: str) -> SafeString:
    """A big duration on its dimension line."""
    return figure_html(minutes(duration_s), label)


@register.simple_tag
def figure_grams(mass_g: Any, label: str) -> SafeString:
    """A big mass on its dimension line."""
    mass = figures.number(mass_g)
    if mass is None:
        return figure(None, "g", label)
    return figure_html(parts_html([figures.mass_parts(mass)]), label)


@register.simple_tag
def minutes(duration_s: Any) -> SafeString:
    """``2 h 48 min`` as figure text, with small units."""
    parts = figures.duration_parts(duration_s)
    return parts_html(parts) if parts else format_html('<span class="unknown">{}</span>', _("not known"))


@register.simple_tag
def strip_cell(term: str, text: Any, note: Any = "") -> SafeString:
    """A cell of the title strip; stands in the strip block of the page."""
    small = format_html(" <small>{}</small>", note) if note else ""
    return format_html("<div><dt>{}</dt><dd>{}{}</dd></div>", term, text, small)


@register.simple_tag(takes_context=True)
def csrf_input(context: Context) -> SafeString:
    """The hidden token of a form, also in templates included with ``only``."""
    request = getattr(context, "request", None)
    token = context.get("csrf_token") or (get_token(request) if request else "")
    return format_html('<input type="hidden" name="csrfmiddlewaretoken" value="{}">', token)


@register.inclusion_tag("parts/ruler.html")
def ruler(finding: Mapping[str, Any]) -> dict[str, Any]:
    """The ruler of one finding: allowed band and mark. Draws nothing without a figure and a limit."""
    return {"ruler": ruler_drawing.build(finding.get("scale"), str(finding.get("level", "passes")))}


@register.inclusion_tag("parts/finding.html")
def finding_card(finding: Mapping[str, Any], in_class: str = "") -> dict[str, Any]:
    """One finding, as it stands in a report's JSON; cards stand in ``<div class="card flush">``. ``in_class``: what a
    teacher may say or do about it, on pages for teachers."""
    level = str(finding["level"])
    kind, icon_name, word = marks.LEVELS[level]
    shown = {"kind": kind, "icon_name": icon_name, "word": word, "passes": level == "passes"}
    return {"finding": finding, "in_class": in_class, **shown}


@register.inclusion_tag("parts/banner.html")
def banner(kind: str, icon_name: str, title: Any, text: Any = "", verdict: bool = False) -> dict[str, Any]:
    """A telling line. ``verdict`` makes it the big one of a report."""
    return {"kind": kind, "icon_name": icon_name, "title": title, "text": text, "verdict": verdict}


@register.inclusion_tag("parts/steps.html")
def steps(steps: Iterable[Mapping[str, Any]], label: str = "") -> dict[str, Any]:
    """The step line. Each step: state (done, now, next or bad), title, note; an icon if the usual one will not do."""
    rows = [{**step, "mark": marks.STEPS[step["state"]]} for step in steps]
    return {"steps": rows, "label": label or _("Where it is")}


@register.simple_tag
def message_mark(level: str) -> marks.Mark:
    """Tone and shape of a message, for parts/messages.html."""
    return marks.MESSAGES.get(level, marks.MESSAGES["info"])


@register.filter
def grams(mass_g: Any) -> str:
    """``12.4 g``"""
    return figures.grams(mass_g)


@register.filter
def mm(length_mm: Any, decimals: int | None = None) -> str:
    """``3.20 mm``; ``|mm:1`` sets the decimals."""
    return figures.millimetres(length_mm, decimals)


@register.filter
def megabytes(size_mb: Any) -> str:
    """``1,250 MB``"""
    return figures.megabytes(size_mb)


@register.filter
def hm(duration_s: Any) -> str:
    """``2 h 48 min``"""
    return figures.hours_and_minutes(duration_s)


@register.filter
def clock(moment: datetime | None) -> str:
    """``15:10`` in school time"""
    return figures.clock(moment)


@register.filter(name="date", expects_localtime=True, is_safe=False)
def dated(moment: Any, form: str | None = None) -> Any:
    """Django's own filter, with a short month small where the reader's language writes it so."""
    return defaultfilters.date(moment, figures.form_here(form) if form else form)


@register.filter
def long_day(day: date | None) -> str:
    """``Tuesday 17 November``"""
    return figures.long_day(day)


@register.simple_tag
def today() -> str:
    """This day in full, in school time."""
    return figures.long_day(timezone.localdate())


@register.filter
def day_clock(moment: datetime | None) -> str:
    """``Tue 17 Nov, 15:10`` in school time"""
    return figures.day_clock(moment)


@register.inclusion_tag("parts/chance.html")
def chance(in_100: int, kind: str = "", text: str = "") -> dict[str, Any]:
    """Ten squares and "91 in 100"; kind is "inline" in tables or "wide-set" beside a sentence."""
    return {"shown": chance_squares(in_100), "kind": kind, "text": text}


@register.inclusion_tag("parts/chart.html")
def chart(spec: Chart, name: str) -> dict[str, Any]:
    """A chart and its legend; ``name`` is unique on the page."""
    return {"drawn": spec.drawn(), "name": name}
