"""What the child process is asked to do in tests: good, greedy, slow and broken work."""

from __future__ import annotations

import errno
import os
import signal
import socket
import sys
import time


def add(a: int, b: int) -> int:
    return a + b


def eat_memory(megabytes: int) -> int:
    hoard = [bytearray(1024 * 1024) for _ in range(megabytes)]
    return len(hoard)


def sleep(seconds: float) -> None:
    time.sleep(seconds)


def spin() -> None:
    while True:
        pass


def crash() -> None:
    os.kill(os.getpid(), signal.SIGSEGV)


def leave_quietly() -> None:
    os._exit(0)


def not_json() -> object:
    return {"a": float("nan")}


def raise_it() -> None:
    raise RuntimeError("on purpose")


def reach_out(family: int) -> str:
    try:
        socket.socket(family).close()
    except OSError as error:
        return errno.errorcode[error.errno or 0]
    return "opened"


def who() -> dict[str, object]:
    return {"pid": os.getpid(), "kernels": "meshcheck.check" in sys.modules}
