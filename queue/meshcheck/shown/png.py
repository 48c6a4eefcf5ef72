"""Writes pixels as PNG (ISO/IEC 15948): eight bits, with a table of colours and their opacity."""

from __future__ import annotations

import struct
import zlib

import numpy as np
from numpy.typing import NDArray

SIGNATURE = b"\x89PNG\r\n\x1a\n"
INDEXED, DEPTH = 3, 8
PNG_BYTES_MOST = 96 * 1024


def png_bytes(numbers: NDArray[np.uint8], colours: NDArray[np.uint8]) -> bytes:
    """numbers (height, width) of entries in ``colours`` (n <= 256, RGBA)."""
    height, width = numbers.shape
    rows = np.zeros((height, width + 1), np.uint8)  # each row begins with its filter: none
    rows[:, 1:] = numbers
    head = struct.pack(">IIBBBBB", width, height, DEPTH, INDEXED, 0, 0, 0)
    return b"".join(
        (
            SIGNATURE,
            _chunk(b"IHDR", head),
            _chunk(b"PLTE", colours[:, :3].tobytes()),
            _chunk(b"tRNS", colours[:, 3].tobytes()),
            _chunk(b"IDAT", zlib.compress(rows.tobytes(), 9)),
            _chunk(b"IEND", b""),
        )
    )


def _chunk(kind: bytes, data: bytes) -> bytes:
    return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))
