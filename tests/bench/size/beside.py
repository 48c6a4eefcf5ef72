"""Something that goes on beside what is measured."""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager

from django.db import connections


@contextmanager
def beside(step: Callable[[], None], every_s: float) -> Iterator[None]:
    """Do the step in a thread of its own, again and again, until the block ends."""
    over = threading.Event()

    def go_on() -> None:
        try:
            while not over.wait(every_s):
                step()
        finally:
            connections.close_all()

    thread = threading.Thread(target=go_on)
    thread.start()
    try:
        yield
    finally:
        over.set()
        thread.join()
