"""The second step of signing in: a code that changes every half minute (TOTP, RFC 6238), and paper codes for a
lost phone."""

from __future__ import annotations

import secrets

import pyotp
from django.db import transaction
from django.utils import timezone
from django.utils.crypto import salted_hmac
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop

from makerlab.accounts import limits
from makerlab.accounts.models import RecoveryCode, School, SecondStep, User
from makerlab.accounts.people import NotPossible, holds_keys_of, looks_after, new_password
from makerlab.audit.models import record

ISSUER = "Makerlab"
STEP_S = 30
RECOVERY_CODES = 10
WRONG = gettext_noop("That code is not right. Codes change every half minute; look whether the phone's clock is right.")
WRONG_MAX, WRONG_WITHIN_S = 10, 900


class TooMany(Exception):
    """Too many wrong codes for this person."""


def has_second_step(user: User) -> bool:
    return SecondStep.objects.filter(user=user, confirmed_at__isnull=False).exists()


def must_enrol(user: User) -> bool:
    """Whether the school wants a second step of this person and there is none yet."""
    return user.is_administrator and user.school.second_step_required and not has_second_step(user)


def begin(user: User) -> SecondStep:
    """A secret to put into an authenticator app; nothing is asked for until ``confirm``. Kept when begun already."""
    step, _made = SecondStep.objects.get_or_create(user=user, defaults={"secret": pyotp.random_base32()})
    if not step.secret and step.confirmed_at is None:  # begun under another key of the installation
        step.secret = pyotp.random_base32()
        step.save(update_fields=["secret"])
    return step


def unreadable() -> list[SecondStep]:
    """Second steps that the installation's key does not open: it is another one than when they were made."""
    return [step for step in SecondStep.objects.select_related("user") if not step.secret]


def address(step: SecondStep) -> str:
    """What the QR code holds, for authenticator apps."""
    name = f"{step.user.username} ({step.user.school.name})"
    return pyotp.TOTP(step.secret, interval=STEP_S).provisioning_uri(name=name, issuer_name=ISSUER)


@transaction.atomic
def confirm(user: User, code: str) -> list[str]:
    """Turn the second step on with a first right code. Returns the recovery codes, told once. Raises NotPossible."""
    if not SecondStep.objects.filter(user=user, confirmed_at__isnull=True).exists():
        raise NotPossible(_("The second step is on already."))
    if not _takes(user, code):
        raise NotPossible(_(WRONG), "code")
    SecondStep.objects.filter(user=user).update(confirmed_at=timezone.now())
    record(user.school_id, user, "second-step-on", user)
    return _new_recovery_codes(user)


@transaction.atomic
def renew_recovery_codes(user: User) -> list[str]:
    """New recovery codes; the old ones open nothing any more. Told once."""
    record(user.school_id, user, "recovery-codes", user)
    return _new_recovery_codes(user)


def _new_recovery_codes(user: User) -> list[str]:
    codes = [new_password() for number in range(RECOVERY_CODES)]
    RecoveryCode.objects.filter(user=user).delete()
    RecoveryCode.objects.bulk_create(RecoveryCode(user=user, digest=_digest(user, code)) for code in codes)
    return codes


def check(user: User, code: str) -> bool:
    """Whether this is the code of now, or an unused recovery code; each opens once. Raises TooMany."""
    if limits.count("second step", user.pk, WRONG_WITHIN_S) >= WRONG_MAX:
        raise TooMany
    right = _takes(user, code) or _takes_recovery(user, code)
    if right:
        limits.forget("second step", user.pk, WRONG_WITHIN_S)
    else:
        limits.note("second step", user.pk, WRONG_WITHIN_S)
    return right


@transaction.atomic
def turn_off(user: User) -> None:
    """One's own second step, after ``check``. Raises NotPossible where the school wants one."""
    if user.is_administrator and user.school.second_step_required:
        raise NotPossible(_("Your school wants a second step of every administrator."))
    _forget(user)
    record(user.school_id, user, "second-step-off", user)


@transaction.atomic
def forget_for(actor: User, person: User) -> None:
    """An administrator takes the second step of somebody who lost phone and paper; their sessions end. Raises
    NotPossible."""
    holds_keys_of(actor, person)
    _forget(person)
    person.end_sessions()
    record(actor.school_id, actor, "second-step-forgotten", person)


@transaction.atomic
def forget_by_server(person: User) -> None:
    """Whoever has the server takes the second step of somebody nobody else can help; their sessions end."""
    _forget(person)
    person.end_sessions()
    record(person.school_id, None, "second-step-forgotten", person, by="server")


@transaction.atomic
def require(actor: User, required: bool) -> None:
    """The school's rule for administrators. Who turns it on has a second step already. Raises NotPossible."""
    looks_after(actor, actor)
    if required and not has_second_step(actor):
        raise NotPossible(_("Turn on your own second step first; otherwise you would be locked out."))
    School.objects.filter(pk=actor.school_id).update(second_step_required=required)
    record(actor.school_id, actor, "require-second-step", actor.school, required=required)


def _forget(user: User) -> None:
    SecondStep.objects.filter(user=user).delete()
    RecoveryCode.objects.filter(user=user).delete()


def _takes(user: User, code: str) -> bool:
    """A code of now or of the half minute before or after (clocks differ), and none that was taken already: the newer
    step is written by a conditional update, so of two who send the same code one wins."""
    step = SecondStep.objects.filter(user=user).first()
    code = code.replace(" ", "")
    if step is None or not step.secret:  # of an unreadable key anybody could reckon the codes
        return False
    if not (code.isascii() and code.isdigit() and len(code) == 6):
        return False
    totp, now = pyotp.TOTP(step.secret, interval=STEP_S), int(timezone.now().timestamp()) // STEP_S
    for counter in (now - 1, now, now + 1):
        if secrets.compare_digest(totp.generate_otp(counter), code):
            fresh = SecondStep.objects.filter(pk=step.pk, last_counter__lt=counter)
            return bool(fresh.update(last_counter=counter))
    return False


def _takes_recovery(user: User, code: str) -> bool:
    unused = RecoveryCode.objects.filter(user=user, digest=_digest(user, code), used_at__isnull=True)
    if not unused.update(used_at=timezone.now()):
        return False
    record(user.school_id, user, "recovery-code-used", user)
    return True


def _digest(user: User, code: str) -> str:
    """79 bits from the system's random source need no slow hash; the key of the installation is part of it."""
    tidy = code.strip().lower().replace(" ", "")
    return salted_hmac("makerlab.accounts.recovery", f"{user.pk}:{tidy}", algorithm="sha256").hexdigest()
