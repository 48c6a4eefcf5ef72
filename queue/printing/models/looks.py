"""What one person has of the plan: how far they have read its changes, and the feed of their calendar."""

from __future__ import annotations

import hashlib
import re
from datetime import datetime, timedelta

from django.conf import settings
from django.db import models

from makerlab.accounts.models import User
from printing.models.rooms import OfSchoolQuerySet, Room

TOKEN = re.compile(r"[A-Za-z0-9_-]{20,100}")
NOTED_EVERY = timedelta(hours=1)


def feed_hash(token: str) -> str:
    """What is kept of the token of a calendar feed: its sha256 in hex."""
    return hashlib.sha256(token.encode()).hexdigest()


class PlanLook(models.Model):
    """The newest plan whose changes this person has said to have seen."""

    user = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.CASCADE, related_name="plan_looks")
    room = models.ForeignKey(Room, on_delete=models.CASCADE, related_name="looks")
    plan_id = models.PositiveBigIntegerField(default=0)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["user", "room"], name="one_look_a_person_and_room")]

    def __str__(self) -> str:
        return f"{self.user} has seen plan {self.plan_id}"


class CalendarFeedQuerySet(models.QuerySet["CalendarFeed"]):
    def of(self, user: User) -> CalendarFeed | None:
        """This person's feed, if one was made."""
        return self.filter(user=user).first()

    def for_token(self, token: str) -> CalendarFeed | None:
        """The feed this token was made for, of a person who may still sign in."""
        if not TOKEN.fullmatch(token):
            return None
        feeds = self.select_related("user__school").filter(user__is_active=True)
        return feeds.filter(token_hash=feed_hash(token)).first()

    def note_fetched(self, feed: CalendarFeed, now: datetime) -> None:
        """Remember that a calendar program asked, once an hour at most."""
        stale = models.Q(fetched_at__isnull=True) | models.Q(fetched_at__lt=now - NOTED_EVERY)
        self.filter(stale, pk=feed.pk).update(fetched_at=now)


class CalendarFeed(models.Model):
    """The address under which a person's calendar fetches the room's times. Only the token's hash is kept."""

    user = models.OneToOneField(settings.AUTH_USER_MODEL, on_delete=models.CASCADE, related_name="calendar_feed")
    token_hash = models.CharField(max_length=64, unique=True)  # sha256, hex
    created_at = models.DateTimeField(auto_now=True)
    fetched_at = models.DateTimeField(null=True, blank=True)

    objects = CalendarFeedQuerySet.as_manager()

    def __str__(self) -> str:
        return f"calendar feed of {self.user}"


class WhatIf(models.Model):
    """A situation that is not so, planned to compare it with the one that is.

    ``changes``: see ``printing.whatif.Changes``; ``answer``: the plans in figures, empty until the job is done.
    """

    room = models.ForeignKey(Room, on_delete=models.CASCADE, related_name="whatifs")
    made_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.CASCADE, related_name="whatifs")
    made_at = models.DateTimeField(auto_now_add=True)
    changes = models.JSONField(default=dict)
    answer = models.JSONField(default=dict, blank=True)
    error = models.TextField(blank=True)

    objects = OfSchoolQuerySet.as_manager()

    class Meta:
        ordering = ["-id"]

    def __str__(self) -> str:
        return f"what if {self.pk}"
