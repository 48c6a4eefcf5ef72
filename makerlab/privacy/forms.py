"""Forms of privacy."""

from __future__ import annotations

from django import forms
from django.utils.translation import gettext_lazy as _

KEEP_LEAST, KEEP_MOST = 1, 400


class KeepForm(forms.Form):
    """How long a class stays after it was archived."""

    keep_days = forms.IntegerField(
        label=_("Days a class is kept after it is archived"), min_value=KEEP_LEAST, max_value=KEEP_MOST
    )
