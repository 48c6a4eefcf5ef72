"""The staff's sign-in form."""

from __future__ import annotations

from typing import Any

from django import forms
from django.contrib.auth import authenticate
from django.core.exceptions import ValidationError
from django.http import HttpRequest
from django.utils.translation import gettext_lazy as _

from makerlab.accounts.models import User


class StaffSignInForm(forms.Form):
    """Name and password. The message never tells which of the two was wrong."""

    username = forms.CharField(
        label=_("User name"),
        max_length=64,
        widget=forms.TextInput(attrs={"autocomplete": "username", "autocapitalize": "none", "spellcheck": "false"}),
    )
    password = forms.CharField(
        label=_("Password"),
        max_length=256,
        strip=False,
        widget=forms.PasswordInput(attrs={"autocomplete": "current-password"}),
    )

    def __init__(self, request: HttpRequest, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.request = request
        self.user: User | None = None

    def clean(self) -> dict[str, Any]:
        values = super().clean() or {}
        name, password = values.get("username"), values.get("password")
        if name and password:
            user = authenticate(self.request, username=name, password=password)
            if not isinstance(user, User):
                raise ValidationError(_("The user name or the password is not right."), code="wrong")
            self.user = user
        return values
