"""What is asked about one request of the queue, and about a class's budget."""

from __future__ import annotations

from django import forms
from django.utils.translation import gettext_lazy as _

from printing.actions.wanted import REASON_MAX


class CopiesForm(forms.Form):
    """How many copies altogether."""

    copies = forms.IntegerField(label=_("Copies altogether"), min_value=1, max_value=99)


class UrgentForm(forms.Form):
    """Why it goes before all others; everybody in the room reads it."""

    reason = forms.CharField(
        label=_("Why it is urgent"), max_length=REASON_MAX, help_text=_("It stands beside the part for all to read.")
    )


class BudgetForm(forms.Form):
    """Grams of filament a team may have printed."""

    grams = forms.FloatField(
        label=_("Filament for each team"),
        min_value=1,
        max_value=5000,
        required=False,
        help_text=_("Left empty there is no limit."),
    )
