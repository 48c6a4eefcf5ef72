"""Takes the network away from a process that reads files from outside, where the platform allows it (Linux on x86-64
and 64-bit ARM): ``socket`` is refused by a system call filter, which needs no rights and works inside containers.

The filter is a classic BPF program as seccomp(2) and Linux's Documentation/userspace-api/seccomp_filter.rst describe
it; numbers of calls and machines from <linux/audit.h> and <asm/unistd.h>. It holds for the process and its children,
for good.
"""

from __future__ import annotations

import ctypes
import errno
import platform
import struct
import sys

PR_SET_SECCOMP, PR_SET_NO_NEW_PRIVS, SECCOMP_MODE_FILTER = 22, 38, 2
ALLOW, REFUSE = 0x7FFF0000, 0x00050000 | errno.EPERM
LOAD, EQUAL, AT_LEAST, RETURN = 0x20, 0x15, 0x35, 0x06  # BPF_LD|W|ABS, BPF_JMP|JEQ|K, BPF_JMP|JGE|K, BPF_RET|K
IO_URING_SETUP = 425  # its rings open sockets without the call
SECOND_NUMBERS = 0x40000000  # of x86-64: the same calls once more, for the x32 interface
MACHINES = {"x86_64": (0xC000003E, 41), "aarch64": (0xC00000B7, 198)}  # AUDIT_ARCH_..., number of socket


class _Program(ctypes.Structure):
    _fields_ = (("length", ctypes.c_ushort), ("filter", ctypes.c_void_p))


def program(machine: str) -> bytes:
    """The filter's instructions, eight bytes each. Raises KeyError for other machines."""
    architecture, socket = MACHINES[machine]
    lines = [
        (LOAD, 0, 0, 4),  # the architecture
        (EQUAL, 0, 5, architecture),  # calls of another one are refused
        (LOAD, 0, 0, 0),  # the call's number
        (AT_LEAST, 3, 0, SECOND_NUMBERS),
        (EQUAL, 2, 0, socket),
        (EQUAL, 1, 0, IO_URING_SETUP),
        (RETURN, 0, 0, ALLOW),
        (RETURN, 0, 0, REFUSE),
    ]
    return b"".join(struct.pack("HBBI", *line) for line in lines)


def refuse_network() -> bool:
    """From now on this process opens no socket. False where the platform does not allow to say so."""
    machine = platform.machine()
    if sys.platform != "linux" or machine not in MACHINES or sys.maxsize <= 2**32:
        return False
    code = program(machine)
    buffer = ctypes.create_string_buffer(code, len(code))
    filters = _Program(len(code) // 8, ctypes.cast(buffer, ctypes.c_void_p))
    library = ctypes.CDLL(None, use_errno=True)
    if library.prctl(PR_SET_NO_NEW_PRIVS, 1, 0, 0, 0) != 0:
        return False
    return bool(library.prctl(PR_SET_SECCOMP, SECCOMP_MODE_FILTER, ctypes.byref(filters), 0, 0) == 0)
