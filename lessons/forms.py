"""The students' sign-in form."""

from __future__ import annotations

from typing import Any

from django import forms
from django.contrib.auth import authenticate
from django.core.exceptions import ValidationError
from django.http import HttpRequest
from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

from lessons.signin import PICTURES
from makerlab.accounts.models import User

PICTURE_WORDS: dict[str, str | Promise] = {
    "cart": _("cart"),
    "clock": _("clock"),
    "flag": _("flag"),
    "ruler": _("ruler"),
    "gear": _("gear"),
    "spool": _("spool"),
    "b-wren": _("wren"),
    "b-heron": _("heron"),
    "b-kestrel": _("kestrel"),
    "b-dipper": _("dipper"),
    "b-swift": _("swift"),
    "tray": _("tray"),
}
PICTURE_CHOICES = [(name, PICTURE_WORDS[name]) for name in PICTURES]
PLACE_LABELS = (_("First picture"), _("Second picture"), _("Third picture"), _("Fourth picture"))
PLACES = {f"picture{place}": label for place, label in enumerate(PLACE_LABELS, start=1)}  # by name of the field
NAME_ATTRS = {"autocomplete": "off", "autocapitalize": "none", "spellcheck": "false"}


class StudentSignInForm(forms.Form):
    """Class code, nickname and four pictures in order (fields ``picture1`` to ``picture4``).

    The message never tells which of them was wrong. ``lessons.signin.Locked`` passes through to the view.
    """

    class_code = forms.CharField(label=_("Class code"), max_length=12, widget=forms.TextInput(attrs=NAME_ATTRS))
    nickname = forms.CharField(label=_("Nickname"), max_length=40, widget=forms.TextInput(attrs=NAME_ATTRS))

    def __init__(self, request: HttpRequest, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.request = request
        self.user: User | None = None
        for name, label in PLACES.items():
            self.fields[name] = forms.ChoiceField(
                label=label, choices=PICTURE_CHOICES, error_messages={"required": _("Choose four pictures.")}
            )

    def pictures(self) -> list[forms.BoundField]:
        """The four picture fields in order."""
        return [self[name] for name in PLACES]

    def picture_error(self) -> str:
        """One message for the four fields together, or nothing."""
        return next((str(field.errors[0]) for field in self.pictures() if field.errors), "")

    def clean(self) -> dict[str, Any]:
        values = super().clean() or {}
        if not self.errors:
            pin = ",".join(values[name] for name in PLACES)
            user = authenticate(self.request, class_code=values["class_code"], nickname=values["nickname"], pin=pin)
            if not isinstance(user, User):
                raise ValidationError(
                    _("The class code, the nickname or the pictures are not right. Try again."), code="wrong"
                )
            self.user = user
        return values
