"""Staff who come through the school's own sign-in service (OpenID Connect): which account its word opens.

Only accounts that exist, of staff, and only those an administrator entered: by an e-mail address, which the service
must have verified, or by the name the service has for the person (OpenID Connect's ``sub``). The first sign-in by
e-mail keeps that name; from then on it alone decides, so that an address given to somebody else opens nothing.
"""

from __future__ import annotations

from dataclasses import dataclass

from django.conf import settings
from django.core.exceptions import ValidationError
from django.core.validators import validate_email
from django.db import IntegrityError, transaction
from django.utils.translation import gettext as _

from makerlab.accounts.models import STAFF_ROLES, ServiceAccount, User
from makerlab.accounts.people import NotPossible, holds_keys_of
from makerlab.audit.models import record

BY_SERVICE = "signed in by the service"  # key of the session


@dataclass(frozen=True)
class Claims:
    """What the service says of who signed in there. ``email`` only when it says that it has verified it."""

    issuer: str
    subject: str
    email: str = ""


def tidy_email(email: str) -> str:
    """As it is kept and compared: addresses are the same in any case."""
    return email.strip().casefold()


@transaction.atomic
def person_for(claims: Claims) -> User | None:
    """The member of staff these claims open, or nobody: it makes no account, and finds no student and nobody who is
    locked out."""
    may = ServiceAccount.objects.select_related("user__school").filter(user__is_active=True, user__role__in=STAFF_ROLES)
    known = may.filter(issuer=claims.issuer, subject=claims.subject).first()
    if known is None and claims.email:
        known = may.filter(email=tidy_email(claims.email), subject="").first()
        if known is not None and not _keep_subject(known, claims):
            return None
    return known.user if known else None


def _keep_subject(account: ServiceAccount, claims: Claims) -> bool:
    """Keep the service's name for the person; of two who come first with one address, one wins."""
    fresh = ServiceAccount.objects.filter(pk=account.pk, subject="")
    return bool(fresh.update(issuer=claims.issuer, subject=claims.subject))


@transaction.atomic
def connect(actor: User, person: User, known_as: str) -> None:
    """An administrator enters by what the service knows somebody; nothing takes it out. What was there before opens
    nothing any more, and its sessions end. Raises NotPossible."""
    holds_keys_of(actor, person)
    known_as = known_as.strip()
    account = _account(person, known_as) if known_as else None
    had = ServiceAccount.objects.filter(user=person).delete()[0]
    if account is None and not had:
        raise NotPossible(_("Enter an e-mail address, or the name that the sign-in service has for this person."))
    if account is not None:
        try:
            with transaction.atomic():
                account.save()
        except IntegrityError as error:
            raise NotPossible(_("Somebody else signs in with that already.")) from error
    if had:
        person.end_sessions()
    record(actor.school_id, actor, "connect-service" if account else "disconnect-service", person)


def _account(person: User, known_as: str) -> ServiceAccount:
    if len(known_as) > ServiceAccount.LONGEST or not known_as.isprintable():
        raise NotPossible(_("That is too long, or no line of text."))
    try:
        validate_email(known_as)
    except ValidationError:
        return ServiceAccount(user=person, issuer=settings.ENVIRONMENT.oidc_issuer, subject=known_as)
    return ServiceAccount(user=person, email=tidy_email(known_as))
