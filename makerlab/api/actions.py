"""Verbs of tokens: make one, revoke one."""

from __future__ import annotations

import secrets
from collections.abc import Collection
from datetime import timedelta

from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from makerlab.accounts.models import User
from makerlab.accounts.people import NotPossible
from makerlab.api import permissions
from makerlab.api.models import ApiToken, digest_of
from makerlab.api.scopes import Scope, scopes_for
from makerlab.audit.models import record

DAYS = (30, 90, 365)
TOKENS_MOST = 20
NAME_MAX = 60


@transaction.atomic
def make_token(actor: User, name: str, scopes: Collection[str], days: int) -> tuple[ApiToken, str]:
    """A new token and its secret, which is told here and never again. Raises PermissionDenied or NotPossible."""
    permissions.check_can_have_tokens(actor)
    wanted = [scope for scope in Scope if scope in scopes]
    if not wanted or len(wanted) < len(set(scopes)) or not set(wanted) <= set(scopes_for(actor)):
        raise NotPossible(_("Choose what the token may do."), "scopes")
    if days not in DAYS:
        raise NotPossible(_("Choose how long it is valid."), "days")
    name = name.strip()[:NAME_MAX]
    if not name:
        raise NotPossible(_("Give it a name that says what uses it."), "name")
    now = timezone.now()
    User.objects.select_for_update(no_key=True).get(pk=actor.pk)  # two at once are counted one after the other
    if ApiToken.objects.filter(owner=actor).in_force(now).count() >= TOKENS_MOST:
        raise NotPossible(_("You have %(most)d tokens. Revoke one that is not used any more.") % {"most": TOKENS_MOST})
    secret = f"mkl_{secrets.token_urlsafe(32)}"
    token = ApiToken.objects.create(
        owner=actor, name=name, scopes=[scope.value for scope in wanted], digest=digest_of(secret), ending=secret[-4:],
        expires_at=now + timedelta(days=days),
    )  # fmt: skip
    record(actor.school_id, actor, "make_token", token, scopes=token.scopes, days=days)
    return token, secret


@transaction.atomic
def revoke_token(actor: User, token: ApiToken) -> None:
    """It opens nothing any more. Raises PermissionDenied, or NotPossible when it was revoked already."""
    permissions.check_can_revoke(actor, token)
    if not ApiToken.objects.filter(pk=token.pk, revoked_at__isnull=True).update(revoked_at=timezone.now()):
        raise NotPossible(_("That token is revoked already."))
    record(actor.school_id, actor, "revoke_token", token, owner=token.owner_id)
