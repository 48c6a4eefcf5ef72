"""Where somebody goes after signing in: never off this site."""

from __future__ import annotations

from django.http import HttpRequest
from django.shortcuts import resolve_url
from django.utils.http import url_has_allowed_host_and_scheme


def safe_page(request: HttpRequest, wanted: str) -> str:
    """The address when it lies on this site, else the landing page."""
    safe = url_has_allowed_host_and_scheme(
        wanted, allowed_hosts={request.get_host()}, require_https=request.is_secure()
    )
    return wanted if safe else resolve_url("home")


def next_page(request: HttpRequest) -> str:
    """What ``next`` asks for, made safe."""
    return safe_page(request, request.POST.get("next") or request.GET.get("next") or "")
