"""Forms of lesson plans and kits that are no rows. Errors are said in place, with 422."""

from __future__ import annotations

from django import forms
from django.utils.translation import gettext_lazy as _

PLAIN = {"autocomplete": "off"}


class TitleForm(forms.Form):
    """The name of a lesson."""

    title = forms.CharField(label=_("Name of the lesson"), max_length=120, widget=forms.TextInput(PLAIN))
