"""Who may ask the interface, and what was answered to a request with a key."""

from __future__ import annotations

import hashlib
import re
from datetime import datetime, timedelta

from django.conf import settings
from django.db import models

from makerlab.accounts.models import User

SECRET = re.compile(r"mkl_[A-Za-z0-9_-]{43}")
NOTED_EVERY = timedelta(minutes=5)


def digest_of(secret: str) -> str:
    """What is kept of a token: its sha256 in hex. It holds 256 random bits, so a slow hash would protect nothing."""
    return hashlib.sha256(secret.encode()).hexdigest()


class ApiTokenQuerySet(models.QuerySet["ApiToken"]):
    def visible_to(self, user: User) -> ApiTokenQuerySet:
        """Staff see their own, administrators all of the school."""
        if not user.is_staff_member:
            return self.none()
        if user.is_administrator:
            return self.filter(owner__school_id=user.school_id)
        return self.filter(owner=user)

    def editable_by(self, user: User) -> ApiTokenQuerySet:
        return self.visible_to(user)

    def in_force(self, now: datetime) -> ApiTokenQuerySet:
        """Not revoked, not over."""
        return self.filter(revoked_at__isnull=True, expires_at__gt=now)

    def for_token(self, secret: str, now: datetime) -> ApiToken | None:
        """The token of this secret, while it is in force and its owner may sign in."""
        if not SECRET.fullmatch(secret):
            return None
        tokens = self.in_force(now).filter(owner__is_active=True).select_related("owner__school")
        return tokens.filter(digest=digest_of(secret)).first()

    def note_used(self, token: ApiToken, now: datetime) -> None:
        """Remember that it was used, every few minutes at most."""
        stale = models.Q(last_used_at__isnull=True) | models.Q(last_used_at__lt=now - NOTED_EVERY)
        if token.last_used_at is None or token.last_used_at < now - NOTED_EVERY:
            self.filter(stale, pk=token.pk).update(last_used_at=now)


class ApiToken(models.Model):
    """A key to the interface. It does what its owner may do, and of that only what its scopes name."""

    owner = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.CASCADE, related_name="api_tokens")
    name = models.CharField(max_length=60)
    scopes = models.JSONField(default=list)
    digest = models.CharField(max_length=64, unique=True)
    ending = models.CharField(max_length=4)  # the secret's last signs, to tell one from another
    made_at = models.DateTimeField(auto_now_add=True)
    expires_at = models.DateTimeField()
    last_used_at = models.DateTimeField(null=True, blank=True)
    revoked_at = models.DateTimeField(null=True, blank=True)

    objects = ApiTokenQuerySet.as_manager()

    class Meta:
        ordering = ["-id"]

    def __str__(self) -> str:
        return self.name


class KeptAnswerQuerySet(models.QuerySet["KeptAnswer"]):
    def of(self, token: ApiToken) -> KeptAnswerQuerySet:
        return self.filter(token=token)


class KeptAnswer(models.Model):
    """What was answered to a POST with an Idempotency-Key, so that the same request sent again changes nothing."""

    token = models.ForeignKey(ApiToken, on_delete=models.CASCADE, related_name="answers")
    key = models.CharField(max_length=80)
    asked = models.CharField(max_length=64)  # sha256 of address and body
    status = models.PositiveSmallIntegerField(default=0)
    body = models.TextField(blank=True)
    made_at = models.DateTimeField(auto_now_add=True, db_index=True)

    objects = KeptAnswerQuerySet.as_manager()

    class Meta:
        constraints = [models.UniqueConstraint(fields=["token", "key"], name="one_answer_a_key")]

    def __str__(self) -> str:
        return f"answer {self.status} to {self.key}"
