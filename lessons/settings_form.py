"""The form in which a teacher says how a kit part is printed. An empty field follows what lies beneath."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from lessons.print_settings import Values
from lessons.settings_page import value_words
from lessons.settings_table import GROUPS, SETTINGS, SUPPORT_WORDS, Setting
from meshcheck.materials import MATERIALS
from meshcheck.settings import settings_problems

UNITS = {"mm": "mm", "percent": "%", "speed": "mm/s"}


class Decimal(forms.FloatField):
    """A number written with a point or a comma."""

    def clean(self, value: Any) -> Any:
        return super().clean(value.replace(",", ".") if isinstance(value, str) else value)


class PrintSettingsForm(forms.Form):
    """Every print setting that people choose, none of them required.

    ``beneath`` holds every field of PrintSettings as an empty field would have it; ``changes`` what is filled in.
    ``seen`` tells whether somebody else changed the same meanwhile.
    """

    seen = forms.CharField(required=False, widget=forms.HiddenInput, max_length=16)

    def __init__(self, *args: Any, beneath: Values, changes: Mapping[str, Any], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.beneath = beneath
        self.unshown = {name: value for name, value in changes.items() if name not in SETTINGS}
        for setting in SETTINGS.values():
            self.fields[setting.name] = _field(setting, beneath[setting.name])
            if setting.name in changes:
                value = changes[setting.name]
                shown = round(100 * value, 6) if setting.kind == "percent" else value
                self.initial[setting.name] = f"{shown:g}" if isinstance(shown, float) else shown

    def chosen(self) -> Values:
        """The fields that were filled in, as PrintSettings has them, and changes this form does not show."""
        filled = {name: self.cleaned_data[name] for name in SETTINGS if self.cleaned_data.get(name) not in {None, ""}}
        if "infill_share" in filled:
            filled["infill_share"] = filled["infill_share"] / 100
        return {**self.unshown, **filled}

    def clean(self) -> dict[str, Any]:
        values = super().clean() or {}
        if self.errors:  # figures that are no numbers cannot be held against each other
            return values
        for problem in settings_problems({**self.beneath, **self.chosen()}):
            text = f"{problem.text[:1].upper()}{problem.text[1:]}."
            self.add_error(problem.field if problem.field in self.fields else None, text)
        return values

    def groups(self) -> list[tuple[Any, list[dict[str, Any]]]]:
        """The fields group by group, with the words beside each."""
        return [(group.title, [self._row(setting) for setting in group.settings]) for group in GROUPS]

    def _row(self, setting: Setting) -> dict[str, Any]:
        return {
            "setting": setting,
            "field": self[setting.name],
            "unit": UNITS.get(setting.kind, ""),
            "beneath": value_words(setting.name, self.beneath[setting.name]),
        }


def _field(setting: Setting, beneath: Any) -> forms.Field:
    """An input that may stay empty; empty is shown as what it then follows."""
    if setting.kind == "choice":
        words = SUPPORT_WORDS if setting.name == "support" else {code: code for code in MATERIALS}
        empty = _("unchanged: %(value)s") % {"value": value_words(setting.name, beneath)}
        return forms.ChoiceField(label=str(setting.label), required=False, choices=[("", empty), *words.items()])
    shown = 100 * beneath if setting.kind == "percent" and beneath is not None else beneath
    attributes = {
        "inputmode": "numeric" if setting.kind == "count" else "decimal",
        "autocomplete": "off",
        "placeholder": "" if shown is None else f"{shown:g}",
        "aria-describedby": f"about-{setting.name}",
    }
    kind = forms.IntegerField if setting.kind == "count" else Decimal
    return kind(label=str(setting.label), required=False, widget=forms.TextInput(attrs=attributes))
