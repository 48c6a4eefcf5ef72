"""Ceilings on how often something may be tried, counted in rows: they hold across processes and restarts.

A whole school sits behind one network address, so ceilings by address are high (our own choice, no source); what
protects a single sign-in is its own lock. Nothing here tells who it was: a counter is found by a keyed hash.
"""

from __future__ import annotations

from datetime import timedelta

from django.db import transaction
from django.db.models import F
from django.http import HttpRequest
from django.utils import timezone
from django.utils.crypto import salted_hmac

from makerlab.accounts.models import Tally

# wrong tries of one kind from one address: (at most, within seconds)
ADDRESS_CEILINGS = ((200, 600), (1000, 86_400))


def address_of(request: HttpRequest) -> str:
    """The network address that asks. Behind a proxy the server in front of us sets it (waitress, trusted proxy)."""
    return str(request.META.get("REMOTE_ADDR") or "")


def count(kind: str, who: object, within_s: int) -> int:
    """How often this was noted in the running span of ``within_s`` seconds."""
    now = timezone.now()
    found = Tally.objects.filter(key=_key(kind, who, within_s), ends_at__gt=now).order_by("-ends_at").first()
    return found.count if found else 0


@transaction.atomic
def note(kind: str, who: object, within_s: int) -> int:
    """Count one more; returns how many there are now. A span begins with its first count."""
    now, key = timezone.now(), _key(kind, who, within_s)
    Tally.objects.filter(ends_at__lte=now).delete()
    fresh = Tally(key=key, count=0, ends_at=now + timedelta(seconds=within_s))
    Tally.objects.bulk_create([fresh], ignore_conflicts=True)
    Tally.objects.filter(key=key).update(count=F("count") + 1)
    return int(Tally.objects.values_list("count", flat=True).get(key=key))


def forget(kind: str, who: object, within_s: int) -> None:
    """Start anew: it went well."""
    Tally.objects.filter(key=_key(kind, who, within_s)).delete()


def note_from_address(kind: str, request: HttpRequest) -> None:
    """A wrong try of this kind from the address of the request."""
    for _most, within_s in ADDRESS_CEILINGS:
        note(kind, address_of(request), within_s)


def address_is_over(kind: str, request: HttpRequest) -> bool:
    """Whether too many wrong tries of this kind came from the address of the request."""
    return any(count(kind, address_of(request), within_s) >= most for most, within_s in ADDRESS_CEILINGS)


def _key(kind: str, who: object, within_s: int) -> str:
    return salted_hmac("makerlab.accounts.limits", f"{kind}:{within_s}:{who}", algorithm="sha256").hexdigest()
