"""Why a verb was not done, in words for the person who asked."""

from __future__ import annotations


class NotPossible(ValueError):
    """It cannot be done as asked; the message says why and what to do. ``field`` is the one to mend, if any."""

    def __init__(self, message: str, field: str = "") -> None:
        super().__init__(message)
        self.field = field


class ChangedMeanwhile(NotPossible):
    """Somebody else saved something between this person's page and their answer."""
