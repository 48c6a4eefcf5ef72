"""The record of who did what. Written in the transaction of the thing itself, never changed."""

from __future__ import annotations

from typing import Any

from django.conf import settings
from django.db import models
from django.utils import timezone


class EventQuerySet(models.QuerySet["Event"]):
    def visible_to(self, user: Any) -> EventQuerySet:
        """Administrators read the records of their school."""
        return self.filter(school_id=user.school_id) if user.is_administrator else self.none()

    def of_school(self, school_id: int) -> EventQuerySet:
        """For finding what changed: whoever asks shows nothing of the records themselves."""
        return self.filter(school_id=school_id)


class Event(models.Model):
    """One thing somebody did: a verb, a subject and plain facts (never a pupil's content)."""

    school = models.ForeignKey("accounts.School", on_delete=models.CASCADE, related_name="events")
    actor = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.SET_NULL, null=True, related_name="events")
    verb = models.CharField(max_length=48)
    subject_kind = models.CharField(max_length=48)
    subject_id = models.CharField(max_length=40)
    facts = models.JSONField(default=dict)
    at = models.DateTimeField(auto_now_add=True)

    objects = EventQuerySet.as_manager()

    class Meta:
        ordering = ["-id"]
        indexes = [
            models.Index(fields=["school", "-id"]),
            models.Index(fields=["school", "at"], name="event_of_school_at"),  # records past their time
            models.Index(fields=["school", "verb"], name="event_of_school_verb"),  # how many, and of which verbs
            models.Index(fields=["subject_kind", "subject_id"]),
        ]

    def __str__(self) -> str:
        return f"{self.verb} {self.subject_kind} {self.subject_id}"


def record(school_id: int, actor: Any, verb: str, subject: models.Model, **facts: Any) -> Event:
    """Write one event. ``actor`` is a User or None for the app itself; ``facts`` must be JSON."""
    return Event.objects.create(
        school_id=school_id,
        actor=actor if getattr(actor, "pk", None) else None,
        verb=verb,
        subject_kind=subject._meta.model_name or "",
        subject_id=str(subject.pk),
        facts=facts,
    )


def record_seen(school_id: int, actor: Any, verb: str, subject: models.Model) -> None:
    """Write that somebody looked at something, once a day."""
    today = timezone.localtime().replace(hour=0, minute=0, second=0, microsecond=0)
    seen = Event.objects.filter(
        actor=actor, verb=verb, subject_kind=subject._meta.model_name, subject_id=str(subject.pk), at__gte=today
    )
    if not seen.exists():
        record(school_id, actor, verb, subject)
