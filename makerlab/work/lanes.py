"""The lanes of background work. No model here: Celery reads them before the apps are loaded."""

from __future__ import annotations

from django.db import models
from django.utils.translation import gettext_lazy as _


class Lane(models.TextChoices):
    """Jobs of one lane run one after the other in the embedded worker; lanes do not wait for each other."""

    MEASURE = "measure", _("measuring")
    PLAN = "plan", _("planning")
    CONSIDER = "consider", _("looking further")  # better plans, what may go wrong, situations that are not so
    DELIVER = "deliver", _("telling addresses outside")
