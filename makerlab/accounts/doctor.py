"""What the doctor looks at in accounts: whether the second steps can be read with the secret key that is in force."""

from __future__ import annotations

from collections.abc import Iterator

from makerlab.accounts.second_step import unreadable
from makerlab.health.doctor import Finding, Level


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
