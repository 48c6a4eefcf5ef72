"""Who may have tokens and webhooks. ``check_can_x`` raises PermissionDenied, ``can_x`` asks."""

from __future__ import annotations

from django.core.exceptions import PermissionDenied

from makerlab.accounts.models import User
from makerlab.api.models import ApiToken, Webhook


def check_can_have_tokens(user: User) -> None:
    """All staff; students sign in with pictures and have no keys."""
    if not user.is_staff_member:
        raise PermissionDenied


def check_can_revoke(user: User, token: ApiToken) -> None:
    """Its owner, and the school's administrators."""
    if not ApiToken.objects.editable_by(user).filter(pk=token.pk).exists():
        raise PermissionDenied


def check_can_have_webhooks(user: User) -> None:
    """Administrators say which addresses outside are told."""
    if not user.is_administrator:
        raise PermissionDenied


def check_can_change_webhook(user: User, webhook: Webhook) -> None:
    """The school's administrators."""
    if not Webhook.objects.editable_by(user).filter(pk=webhook.pk).exists():
        raise PermissionDenied


def can_have_webhooks(user: User) -> bool:
    try:
        check_can_have_webhooks(user)
    except PermissionDenied:
        return False
    return True


def can_have_tokens(user: User) -> bool:
    try:
        check_can_have_tokens(user)
    except PermissionDenied:
        return False
    return True
