"""How our web server is set, wherever it is started.

Browsers keep a connection open between two polls. Waitress serves 100 at a time unless told otherwise, and those above
would wait until others are given up after two minutes: three classes are enough. An open connection costs a file, no
thread; ``poll`` because ``select`` ends at 1,024 files.
"""

from __future__ import annotations

from collections.abc import Mapping

THREADS = 6
OPTIONS: Mapping[str, int | bool] = {
    "threads": THREADS,
    "connection_limit": 2000,
    "backlog": 1024,
    "channel_timeout": 60,  # s without a request
    "asyncore_use_poll": True,
}


def arguments() -> list[str]:
    """The same for ``waitress-serve`` and ``python -m waitress``."""
    named = ((name.replace("_", "-"), value) for name, value in OPTIONS.items())
    return [f"--{name}" if value is True else f"--{name}={value}" for name, value in named]
