"""Forms of the district."""

from __future__ import annotations

from zoneinfo import available_timezones

from django import forms
from django.utils.translation import gettext_lazy as _

from makerlab.accounts.models import School, check_time_zone
from makerlab.accounts.people_views import PLAIN, NamesForm
from makerlab.district.actions import STORE_MOST_MB

AREAS = ("Africa/", "America/", "Antarctica/", "Asia/", "Atlantic/", "Australia/", "Europe/", "Indian/", "Pacific/")


def proposed_zones() -> list[str]:
    """Time zones named by a place, for the form's list; any other that exists may be typed as well."""
    return sorted(name for name in available_timezones() if name.startswith(AREAS))


class SchoolForm(NamesForm):
    """A new school, and what its first administrator is called."""

    name = forms.CharField(
        label=_("Name of the school"),
        max_length=School._meta.get_field("name").max_length,
        widget=forms.TextInput({"autocomplete": "off", "spellcheck": "false"}),
    )
    time_zone = forms.CharField(
        label=_("Time zone"),
        max_length=School._meta.get_field("time_zone").max_length,
        validators=[check_time_zone],
        help_text=_("Begin to type a city, for example Chicago."),
        widget=forms.TextInput({**PLAIN, "list": "zones"}),
    )
    field_order = ("name", "time_zone", "display_name", "username")


class StoreForm(forms.Form):
    """How much a school may store."""

    store_max_mb = forms.IntegerField(
        label=_("Limit of this school"),
        required=False,
        min_value=1,
        max_value=STORE_MOST_MB,
        help_text=_("Leave it empty for the limit of all schools."),
    )
