"""Addresses of the site."""

from django.urls import URLPattern, URLResolver, include, path

from makerlab.api.site import addresses as api_addresses
from makerlab.offline import offline_worker
from makerlab.views import home, language, style_guide

urlpatterns: list[URLPattern | URLResolver] = [
    path("", home, name="home"),
    path("styleguide/", style_guide, name="styleguide"),
    path("offline.js", offline_worker, name="offline-worker"),
    path("language/", language, name="language"),
    path("", include("makerlab.accounts.urls")),
    path("", include("makerlab.privacy.urls")),
    path("district/", include("makerlab.district.urls")),
    path("api/v1/", api_addresses()),
    path("", include("makerlab.api.urls")),
    path("", include("lessons.urls")),
    path("", include("submissions.urls")),
    path("", include("printing.urls")),
]
handler500 = "makerlab.views.broke"
