from django.apps import AppConfig


class SiteConfig(AppConfig):
    """The site itself: base templates, static files, commands. It has no models."""

    name = "makerlab"
    label = "site"

    def ready(self) -> None:
        from makerlab.keeping.daily import back_up_daily
        from makerlab.keeping.strays import forget_strays
        from makerlab.privacy.retention import forget_old_sessions, forget_what_is_due
        from makerlab.work.registry import DAILY

        # what is due goes first, so that it does not live on in the day's backup
        DAILY.extend([forget_old_sessions, forget_what_is_due, forget_strays, back_up_daily])
