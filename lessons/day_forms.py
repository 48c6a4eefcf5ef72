"""Forms of the school's year: kinds of day, special days, terms. Errors are said in place, with 422."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from lessons.class_forms import DATE, PLAIN, WEEKDAYS
from lessons.models import DayKind, Term

TURNS_MOST = 8  # the longest rotation; cycles of six days are the longest in use (common practice, no source)


class DayKindForm(forms.Form):
    """A kind of day: name, weekdays, periods as lines."""

    name = forms.CharField(label=_("Name"), max_length=40, widget=forms.TextInput(PLAIN))
    weekdays = forms.TypedMultipleChoiceField(
        label=_("Usual on"), choices=WEEKDAYS, coerce=int, required=False, widget=forms.CheckboxSelectMultiple
    )
    periods = forms.CharField(
        label=_("Periods, one a line: name, start, end"),
        required=False,
        max_length=3000,
        widget=forms.Textarea(attrs={"rows": 9, **PLAIN}),
        help_text=_("such as Period 1, 08:05, 08:55; lunch is a period too"),
    )


class SpecialDaysForm(forms.Form):
    """Dates that are not as their weekday says."""

    first = forms.DateField(label=_("From"), widget=forms.DateInput(DATE, format="%Y-%m-%d"))
    last = forms.DateField(
        label=_("To"), required=False, widget=forms.DateInput(DATE, format="%Y-%m-%d"), help_text=_("empty: one day")
    )
    kind = forms.TypedChoiceField(label=_("What kind of day"), required=False, empty_value=None)
    name = forms.CharField(label=_("Name"), max_length=60, required=False, widget=forms.TextInput(PLAIN))

    def __init__(self, *args: Any, kinds: Sequence[DayKind], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        field, by_key = self.fields["kind"], {str(kind.pk): kind for kind in kinds}
        assert isinstance(field, forms.TypedChoiceField)
        field.choices = [("", _("no school")), *((key, kind.name) for key, kind in by_key.items())]
        field.coerce = by_key.__getitem__


def date_field(label: Any, **options: Any) -> forms.DateField:
    return forms.DateField(label=label, widget=forms.DateInput(DATE, format="%Y-%m-%d"), **options)


class TermForm(forms.Form):
    """A term: name, first and last day, and the kinds of day that take turns (``turn_1`` ...), if any."""

    name = forms.CharField(label=_("Name"), max_length=40, widget=forms.TextInput(PLAIN))
    first = date_field(_("First day"))
    last = date_field(_("Last day"))
    turning = forms.TypedMultipleChoiceField(
        label=_("They take turns on"), choices=WEEKDAYS, coerce=int, required=False, widget=forms.CheckboxSelectMultiple
    )

    def __init__(self, *args: Any, kinds: Sequence[DayKind], term: Term | None = None, **kwargs: Any) -> None:
        initial: dict[str, Any] = {"turning": [0, 1, 2, 3, 4]}
        if term is not None:
            initial = {name: getattr(term, name) for name in ("name", "first", "last")}
            initial["turning"] = term.turning or [0, 1, 2, 3, 4]
            initial |= {f"turn_{place}": kind for place, kind in enumerate(term.rotation, start=1)}
        kwargs["initial"] = initial
        super().__init__(*args, **kwargs)
        choices = [("", _("none")), *((str(kind.pk), kind.name) for kind in kinds)]
        for place in range(1, TURNS_MOST + 1):
            self.fields[f"turn_{place}"] = forms.TypedChoiceField(
                label=_("Day %(number)d") % {"number": place},
                choices=choices, coerce=int, required=False, empty_value=None,
            )  # fmt: skip

    def clean(self) -> dict[str, Any]:
        values = super().clean() or {}
        if "first" in values and "last" in values and values["last"] < values["first"]:
            self.add_error("last", _("The last day lies before the first."))
        turns = self.turns()
        if len(turns) == 1:
            self.add_error("turn_2", _("Taking turns needs two days or more; leave all empty for none."))
        if turns and not values.get("turning"):
            self.add_error("turning", _("Tick the weekdays on which they take turns."))
        return values

    def turns(self) -> list[int]:
        """The kinds of day in turn."""
        found = [self.cleaned_data.get(f"turn_{place}") for place in range(1, TURNS_MOST + 1)]
        return [kind for kind in found if kind]

    def turn_fields(self) -> list[forms.BoundField]:
        return [self[f"turn_{place}"] for place in range(1, TURNS_MOST + 1)]
