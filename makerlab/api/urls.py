"""Addresses of the pages; those of the interface itself are in ``site.py``."""

from django.urls import URLPattern, path

from makerlab.api.views import pages

app_name = "access"
urlpatterns: list[URLPattern] = [
    path("tokens/", pages.token_list, name="token-list"),
    path("tokens/<int:pk>/revoke/", pages.token_revoke, name="token-revoke"),
]
