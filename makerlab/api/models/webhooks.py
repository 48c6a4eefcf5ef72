"""Addresses that are told when something happens, and what was told them."""

from __future__ import annotations

import uuid

from django.conf import settings
from django.db import models
from django.utils import timezone
from django.utils.translation import gettext_lazy as _
from django.utils.translation import pgettext_lazy

from makerlab.accounts.models import User
from makerlab.accounts.sealed import SealedField


class Happening(models.TextChoices):
    """What an address can be told of."""

    PART_CHECKED = "part.checked", _("a part was checked")
    PLAN_CHANGED = "plan.changed", _("the room plan changed")
    RUN_ENDED = "run.ended", _("a run ended")


class OfAdministratorsQuerySet(models.QuerySet):  # type: ignore[type-arg]
    """Administrators see and change what their school tells others."""

    school_path = "school_id"

    def visible_to(self, user: User) -> OfAdministratorsQuerySet:
        return self.filter(**{self.school_path: user.school_id}) if user.is_administrator else self.none()

    def editable_by(self, user: User) -> OfAdministratorsQuerySet:
        return self.visible_to(user)


class Webhook(models.Model):
    """An address outside. What is sent there is signed with ``secret``; for a day after a change with the old one,
    too."""

    school = models.ForeignKey("accounts.School", on_delete=models.CASCADE, related_name="webhooks")
    address = models.CharField(max_length=300)
    happenings = models.JSONField(default=list)
    secret = SealedField()
    old_secret = SealedField(blank=True, default="")
    old_until = models.DateTimeField(null=True, blank=True)
    made_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.SET_NULL, null=True, related_name="+")
    made_at = models.DateTimeField(auto_now_add=True)

    objects = OfAdministratorsQuerySet.as_manager()

    class Meta:
        ordering = ["id"]
        constraints = [models.UniqueConstraint(fields=["school", "address"], name="one_webhook_an_address")]

    def __str__(self) -> str:
        return self.address


class DeliveryQuerySet(OfAdministratorsQuerySet):
    school_path = "webhook__school_id"


class Delivery(models.Model):
    """One thing told to one address. It waits until the address has taken it or was tried often enough; ``key`` stays
    the same with every try, so that the address can tell it from another."""

    class State(models.TextChoices):
        WAITING = "waiting", _("waiting")
        DELIVERED = "delivered", _("delivered")
        FAILED = "failed", pgettext_lazy("of a message", "given up")

    webhook = models.ForeignKey(Webhook, on_delete=models.CASCADE, related_name="deliveries")
    key = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    happening = models.CharField(max_length=24, choices=Happening.choices)
    body = models.TextField()  # as it is sent and signed: ids and states, nothing of a pupil
    state = models.CharField(max_length=10, choices=State.choices, default=State.WAITING)
    tries = models.PositiveSmallIntegerField(default=0)
    next_at = models.DateTimeField(default=timezone.now)
    status = models.PositiveSmallIntegerField(null=True, blank=True)  # what the address answered last
    problem = models.CharField(max_length=200, blank=True)  # why the last try did not work
    made_at = models.DateTimeField(auto_now_add=True)
    ended_at = models.DateTimeField(null=True, blank=True)

    objects = DeliveryQuerySet.as_manager()

    class Meta:
        ordering = ["-id"]
        indexes = [models.Index(fields=["state", "next_at"]), models.Index(fields=["webhook", "-id"])]

    def __str__(self) -> str:
        return f"{self.happening} to {self.webhook}"
