"""Addresses of the site."""

from django.urls import URLPattern, URLResolver, include, path

from makerlab.views import home, style_guide

urlpatterns: list[URLPattern | URLResolver] = [
    path("", home, name="home"),
    path("styleguide/", style_guide, name="styleguide"),
    path("", include("makerlab.accounts.urls")),
    path("", include("lessons.urls")),
    path("", include("submissions.urls")),
    path("", include("printing.urls")),
]
