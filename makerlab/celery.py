"""Celery, the doorbell of the distributed profile. The work itself is a database row (``makerlab.work``)."""

import os

from celery import Celery

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "makerlab.settings")
app = Celery("makerlab")
app.config_from_object("django.conf:settings", namespace="CELERY")
app.autodiscover_tasks(["makerlab.work"])
