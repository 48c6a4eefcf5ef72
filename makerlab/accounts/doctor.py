"""What the doctor looks at in accounts: whether the second steps can be read with the secret key that is in force, and
whether the school's sign-in service answers."""

from __future__ import annotations

from collections.abc import Iterator

from django.conf import settings

from makerlab.accounts.second_step import unreadable
from makerlab.health.doctor import Finding, Level, fine


def second_steps() -> Iterator[Finding]:
    """Nobody whose second step cannot be read gets in. People are told by number: the doctor's lines may be sent on."""
    lost = unreadable()
    if lost:
        numbers = ", ".join(str(step.user_id) for step in lost)
        yield Finding(
            Level.WRONG,
            f"the secret key does not open the second step of {len(lost)} people (numbers {numbers})",
            "Put the secret key back that was there before, or run manage.py forget_second_step USERNAME for each.",
        )


def sign_in_service() -> Iterator[Finding]:
    """Staff still get in by password when it is away."""
    if not settings.SINGLE_SIGN_ON:
        return
    from makerlab.accounts.oidc import looks_right

    wrong = looks_right()
    if wrong:
        remedy = "Look at MAKERLAB_OIDC_ISSUER and at the network; staff sign in by password meanwhile."
        yield Finding(Level.WRONG, f"the school's sign-in service: {wrong}", remedy)
    else:
        yield fine("the school's sign-in service answers")
