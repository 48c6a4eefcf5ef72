"""Verbs of webhooks: add an address, change its secret, take it away; and telling, inside the change that is told."""

from __future__ import annotations

import base64
import json
import secrets
from collections.abc import Collection
from datetime import timedelta
from typing import Any

from django.conf import settings
from django.db import IntegrityError, transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from makerlab.accounts.models import User
from makerlab.accounts.people import NotPossible
from makerlab.api import permissions
from makerlab.api.models import Delivery, Happening, Webhook
from makerlab.api.sending import AddressRefused, read_address
from makerlab.audit.models import record
from makerlab.work.actions import enqueue

DELIVER = "deliver"
WEBHOOKS_MOST = 10
OLD_SECRET_FOR = timedelta(days=1)


def new_secret() -> str:
    """256 random bits in base64, marked as what they are."""
    return "whsec_" + base64.b64encode(secrets.token_bytes(32)).decode()


@transaction.atomic
def add_webhook(actor: User, address: str, happenings: Collection[str]) -> Webhook:
    """An address that is told from now on. Raises PermissionDenied or NotPossible."""
    permissions.check_can_have_webhooks(actor)
    wanted = [each.value for each in Happening if each in happenings]
    if not wanted or len(wanted) < len(set(happenings)):
        raise NotPossible(_("Choose what it is told of."), "happenings")
    try:
        read_address(address, settings.WEBHOOK_NETWORKS)
    except AddressRefused as error:
        raise NotPossible(str(error), "address") from error
    if Webhook.objects.filter(school=actor.school_id).count() >= WEBHOOKS_MOST:
        raise NotPossible(_("There are %(most)d addresses already. Take one away first.") % {"most": WEBHOOKS_MOST})
    try:
        with transaction.atomic():
            made = Webhook.objects.create(
                school_id=actor.school_id, address=address, happenings=wanted, secret=new_secret(), made_by=actor
            )
    except IntegrityError:
        raise NotPossible(_("That address is told already."), "address") from None
    record(actor.school_id, actor, "add_webhook", made, address=address, happenings=wanted)
    return made


@transaction.atomic
def change_secret(actor: User, webhook: Webhook) -> Webhook:
    """A new secret; for a day what is sent is signed with both. Raises PermissionDenied."""
    permissions.check_can_change_webhook(actor, webhook)
    webhook.old_secret, webhook.old_until = webhook.secret, timezone.now() + OLD_SECRET_FOR
    webhook.secret = new_secret()
    webhook.save(update_fields=["secret", "old_secret", "old_until"])
    record(actor.school_id, actor, "change_webhook_secret", webhook)
    return webhook


@transaction.atomic
def remove_webhook(actor: User, webhook: Webhook) -> None:
    """It is told nothing more; what still waits for it goes, too. Raises PermissionDenied."""
    permissions.check_can_change_webhook(actor, webhook)
    record(actor.school_id, actor, "remove_webhook", webhook, address=webhook.address)
    webhook.delete()


def tell(school_id: int, happening: Happening, **data: Any) -> None:
    """Have every address that wants it told, once the transaction of the change is written. ``data``: ids and states,
    never anything of a pupil."""
    for webhook in Webhook.objects.filter(school=school_id):
        if happening in webhook.happenings:
            told = {"type": happening.value, "timestamp": timezone.now().isoformat(), "data": data}
            delivery = Delivery.objects.create(webhook=webhook, happening=happening, body=json.dumps(told))
            enqueue(DELIVER, delivery.pk, school_id)
