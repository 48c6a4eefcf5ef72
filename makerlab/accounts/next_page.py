"""Where somebody goes after signing in: never off this site."""

from __future__ import annotations

from django.http import HttpRequest
from django.shortcuts import resolve_url
from django.utils.http import url_has_allowed_host_and_scheme


def next_page(request: HttpRequest) -> str:
    """The ``next`` address when it lies on this site, else the landing page."""
    wanted = request.POST.get("next") or request.GET.get("next") or ""
    safe = url_has_allowed_host_and_scheme(
        wanted, allowed_hosts={request.get_host()}, require_https=request.is_secure()
    )
    return wanted if safe else resolve_url("home")
