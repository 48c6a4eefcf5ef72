"""Ceilings on how often something may be tried, counted in rows: they hold across processes and restarts.

A whole school sits behind one network address, so ceilings by address are high (our own choice, no source); what
protects a single sign-in is its own lock. Nothing here tells who it was: a counter is found by a keyed hash.
"""

from __future__ import annotations

from datetime import timedelta

from django.db import connection, transaction
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


# one statement: whoever counts at the same time waits for the row, and each gets a number of their own
COUNTED = """
    INSERT INTO accounts_tally ("key", "count", ends_at) VALUES (%(key)s, 1, %(ends)s)
    ON CONFLICT ("key") DO UPDATE SET
        "count" = CASE WHEN accounts_tally.ends_at <= %(now)s THEN 1 ELSE accounts_tally."count" + 1 END,
        ends_at = CASE WHEN accounts_tally.ends_at <= %(now)s THEN excluded.ends_at ELSE accounts_tally.ends_at END
    RETURNING "count"
"""


@transaction.atomic
def note(kind: str, who: object, within_s: int) -> int:
    """Count one more; returns how many there are now. A span begins with its first count; what is over is cleared
    away then."""
    now = timezone.now()
    moment = connection.ops.adapt_datetimefield_value
    values = {"key": _key(kind, who, within_s), "now": moment(now), "ends": moment(now + timedelta(seconds=within_s))}
    with connection.cursor() as cursor:
        cursor.execute(COUNTED, values)
        counted = int(cursor.fetchone()[0])
    if counted == 1:
        # two who clear away at once, each with a row of the other's in the list, must not wait for each other
        over = Tally.objects.select_for_update(skip_locked=True).filter(ends_at__lte=now).exclude(key=values["key"])
        Tally.objects.filter(pk__in=over.values("pk")).delete()
    return counted


def forget(kind: str, who: object, within_s: int) -> None:
    """Start anew: it went well."""
    Tally.objects.filter(key=_key(kind, who, within_s)).delete()


def note_from_address(kind: str, request: HttpRequest) -> None:
    """A wrong try of this kind from the address of the request."""
    for _most, within_s in ADDRESS_CEILINGS:
        note(kind, address_of(request), within_s)


def address_is_over(kind: str, request: HttpRequest) -> bool:
    """Whether too many wrong tries of this kind came from the address of the request."""
    address = address_of(request)
    most = {_key(kind, address, within_s): most for most, within_s in ADDRESS_CEILINGS}
    counts = Tally.objects.filter(key__in=most, ends_at__gt=timezone.now()).values_list("key", "count")
    return any(count >= most[key] for key, count in counts)


def _key(kind: str, who: object, within_s: int) -> str:
    return salted_hmac("makerlab.accounts.limits", f"{kind}:{within_s}:{who}", algorithm="sha256").hexdigest()
