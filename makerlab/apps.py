from django.apps import AppConfig


class SiteConfig(AppConfig):
    """The site itself: base templates, static files, commands. It has no models."""

    name = "makerlab"
    label = "site"
