"""Verbs of a person's own calendar feed: make its address, and take it away."""

from __future__ import annotations

import secrets

from django.db import transaction
from django.utils.translation import gettext as _

from makerlab.accounts.models import User
from makerlab.audit.models import record
from printing import permissions
from printing.models import CalendarFeed
from printing.models.looks import feed_hash
from printing.states import NotAllowedNow

TOKEN_BYTES = 32


@transaction.atomic
def make_feed(actor: User) -> str:
    """A new token for this person's feed; the one before is worth nothing any more. It is told here and never again."""
    permissions.check_can_have_feed(actor)
    token = secrets.token_urlsafe(TOKEN_BYTES)
    feed, made = CalendarFeed.objects.update_or_create(
        user=actor, defaults={"token_hash": feed_hash(token), "fetched_at": None}
    )
    record(actor.school_id, actor, "make_feed" if made else "replace_feed", feed)
    return token


@transaction.atomic
def revoke_feed(actor: User) -> None:
    """Nobody can fetch it any more. Raises NotAllowedNow when there is none."""
    permissions.check_can_have_feed(actor)
    feed = CalendarFeed.objects.filter(user=actor).first()
    if feed is None:
        raise NotAllowedNow(_("You have no calendar address."))
    record(actor.school_id, actor, "revoke_feed", feed)
    feed.delete()
