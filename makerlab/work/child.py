"""A disposable child process for work on files from outside: bounded memory, processor time and wall time,
no network where the platform allows that.

The child answers with JSON, never a pickle: it has handled a hostile file, so what it says is only data.
"""

from __future__ import annotations

import contextlib
import importlib
import json
import multiprocessing
import os
import sys
from functools import lru_cache
from multiprocessing import forkserver
from multiprocessing.connection import Connection, wait
from multiprocessing.context import BaseContext
from typing import Any

from django.conf import settings

from makerlab.work.no_network import refuse_network
from makerlab.work.stored_files import in_place

GIVES_WAY = 5  # of 19: on a machine that serves pages too, a child takes what they leave
ANSWER_MAX_BYTES = 32 * 1024 * 1024
# modules the fork server loads once, so that a child starts in milliseconds with the kernels in place
PRELOAD = ["makerlab.work.child", "meshcheck.preload"]
# Children work on one core each: threads of the matrix library only wait for each other there (a check of 240,000
# triangles took 3.6 s of processor time with them and 2.7 s without). Read when the library is loaded.
ONE_THREAD = ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS")


class ChildFailed(Exception):
    """The child gave no usable answer. ``why`` is ``time``, ``memory`` or ``crash``."""

    def __init__(self, why: str) -> None:
        super().__init__(why)
        self.why = why


@lru_cache(maxsize=1)
def _context() -> BaseContext:
    for name in ONE_THREAD:
        os.environ.setdefault(name, "1")
    if "forkserver" not in multiprocessing.get_all_start_methods():
        return multiprocessing.get_context("spawn")
    context = multiprocessing.get_context("forkserver")
    context.set_forkserver_preload(PRELOAD)
    return context


def stand_by() -> None:
    """Start the server that children are forked from, where there is one, and do not wait for it."""
    if _context().get_start_method() == "forkserver":
        forkserver.ensure_running()


def _limit(memory_bytes: int, cpu_s: int) -> None:
    if sys.platform == "win32":
        return  # no such limits there: the wall clock and the caps of the reader remain
    import resource

    os.nice(GIVES_WAY)  # pages are answered first; nobody notices a file that is measured a second later

    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
    resource.setrlimit(resource.RLIMIT_CPU, (cpu_s, cpu_s + 2))
    resource.setrlimit(resource.RLIMIT_AS, (memory_bytes, memory_bytes))


def _child(channel: Connection, target: str, arguments: dict[str, Any], memory_bytes: int, cpu_s: int) -> None:
    module, _, name = target.partition(":")
    function = getattr(importlib.import_module(module), name)
    refuse_network()
    _limit(memory_bytes, cpu_s)
    try:
        answer = json.dumps({"answer": function(**arguments)}, allow_nan=False).encode()
    except MemoryError:
        answer = b'{"failed": "memory"}'
    # whoever asked may be gone by now (a killed worker); then nobody misses the answer
    with contextlib.suppress(BrokenPipeError):
        channel.send_bytes(answer)
    channel.close()


def run(target: str, arguments: dict[str, Any]) -> Any:
    """Call ``module:function`` with keyword arguments in a child and return its JSON answer. Files of the store among
    the arguments (``stored_files.Stored``) are put in place for it.

    Raises ChildFailed when the child overran a limit, died, or answered nonsense; FileNotFoundError when a file is not
    in the store.
    """
    with in_place(arguments) as local:
        return _run(target, local)


def _run(target: str, arguments: dict[str, Any]) -> Any:
    receiver, sender = _context().Pipe(duplex=False)
    process = _context().Process(  # type: ignore[attr-defined]
        target=_child,
        args=(sender, target, arguments, settings.CHILD_MEMORY_BYTES, settings.CHILD_CPU_S),
        daemon=True,
    )
    process.start()
    sender.close()
    try:
        return _listen(receiver, process)
    finally:
        process.kill()
        process.join()
        receiver.close()


def _listen(receiver: Connection, process: Any) -> Any:
    if not wait([receiver, process.sentinel], timeout=settings.CHILD_WALL_S):
        raise ChildFailed("time")
    try:
        raw = receiver.recv_bytes(ANSWER_MAX_BYTES)
    except (EOFError, OSError) as error:
        process.join(5)
        raise ChildFailed("time" if process.exitcode in {-24, -9} else "crash") from error
    process.join(5)
    if process.exitcode != 0:
        raise ChildFailed("crash")
    try:
        message = json.loads(raw)
    except ValueError as error:
        raise ChildFailed("crash") from error
    if "failed" in message:
        raise ChildFailed(str(message["failed"]))
    return message["answer"]


def ping() -> bool:
    """Asked of a child at the start of a worker: the fork server then has everything loaded before the first job."""
    return True
