"""The request as our views get it: somebody is signed in, and htmx details are known."""

from __future__ import annotations

from django.http import HttpRequest
from django_htmx.middleware import HtmxDetails

from makerlab.accounts.models import User


class SignedInRequest(HttpRequest):
    """A request behind LoginRequiredMiddleware and HtmxMiddleware."""

    user: User
    htmx: HtmxDetails
