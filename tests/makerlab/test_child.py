"""The disposable child: what it answers, and that each limit really ends it."""

from __future__ import annotations

import os
import socket
import sys
import time

import pytest
from django.test import override_settings

from makerlab.work import child

HERE = "tests.makerlab.child_targets:"


def test_it_answers():
    assert child.run(HERE + "add", {"a": 2, "b": 3}) == 5


def test_it_is_another_process_with_the_engine_loaded_and_starts_quickly():
    first = child.run(HERE + "who", {})
    began = time.perf_counter()
    second = child.run(HERE + "who", {})
    took = time.perf_counter() - began
    assert len({os.getpid(), first["pid"], second["pid"]}) == 3
    assert first["kernels"]
    print(f"a child that is asked one thing takes {took * 1000:.0f} ms")


@pytest.mark.parametrize(
    ("target", "arguments", "limits", "why"),
    [
        ("eat_memory", {"megabytes": 4000}, {}, "memory"),
        ("sleep", {"seconds": 900}, {"CHILD_WALL_S": 1}, "time"),
        ("spin", {}, {"CHILD_CPU_S": 1}, "time"),
        ("crash", {}, {}, "crash"),
        ("leave_quietly", {}, {}, "crash"),
        ("not_json", {}, {}, "crash"),
        ("raise_it", {}, {}, "crash"),
    ],
)
def test_every_bad_end_is_told_apart(target, arguments, limits, why):
    began = time.perf_counter()
    with override_settings(**limits), pytest.raises(child.ChildFailed) as failed:
        child.run(HERE + target, arguments)
    assert failed.value.why == why
    assert time.perf_counter() - began < 300  # it gives way to everything else on the machine
    assert child.run(HERE + "add", {"a": 1, "b": 1}) == 2  # the next child is not harmed


@pytest.mark.skipif(sys.platform != "linux", reason="other systems have no such filter")
@pytest.mark.parametrize("family", [socket.AF_INET, socket.AF_INET6, socket.AF_UNIX])
def test_the_child_opens_no_socket(family):
    assert child.run(HERE + "reach_out", {"family": int(family)}) == "EPERM"
    socket.socket(family).close()  # and here it is allowed as before
