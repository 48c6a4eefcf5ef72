"""What a person is told when the machine, not our code, is in trouble: the disk is full, the database is away."""

from __future__ import annotations

import errno
from dataclasses import dataclass

from django.db import InterfaceError, OperationalError
from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

FULL = frozenset({errno.ENOSPC, errno.EDQUOT, errno.EFBIG})


@dataclass(frozen=True)
class Trouble:
    """The status of the answer and what it says."""

    status: int
    heading: str | Promise
    words: str | Promise


OURS = Trouble(
    500,
    _("Something broke on our side"),
    _("What you sent may not have been saved. Go back and look; then try once more."),
)
DISK = Trouble(
    507,
    _("The server's disk is full"),
    _("What you sent was not saved; what was there before is unharmed. Tell your administrator, then send it again."),
)
DATABASE = Trouble(
    503,
    _("The server cannot reach its records just now"),
    _("What you sent was not saved; what was there before is unharmed. Wait a minute, then send it again."),
)


def trouble_of(error: BaseException | None) -> Trouble:
    """Which trouble an error is, looking through to what it came from."""
    while error is not None:
        if isinstance(error, OSError) and error.errno in FULL:
            return DISK
        if isinstance(error, (OperationalError, InterfaceError)):
            words = str(error)  # SQLite's SQLITE_FULL and PostgreSQL's 53100 (disk_full)
            state = getattr(error.__cause__, "sqlstate", None)
            return DISK if "disk is full" in words or state == "53100" else DATABASE
        error = error.__cause__ or error.__context__
    return OURS
