"""A zip package from outside, opened with caps. Nothing is written to disk, and only files asked for are unpacked."""

from __future__ import annotations

import io
import struct
import zipfile
import zlib
from collections.abc import Iterator

from lessons.rosters.problems import RosterRefused

MAX_PACKED_BYTES = 10 * 1024 * 1024
MAX_UNPACKED_BYTES = 64 * 1024 * 1024
MAX_MEMBERS = 100  # the standard knows some twenty files
MAX_RATIO = 100
_RATIO_FREE_BYTES = 1024 * 1024  # a small file of like rows may pack better than 1 : 100 and harms nobody
_DIRECTORY_BYTES_MAX = 1024 * MAX_MEMBERS
_CHUNK_BYTES = 1 << 16
_DAMAGE = (zipfile.BadZipFile, zlib.error, EOFError, NotImplementedError, struct.error, OSError, ValueError)


class Archive:
    """The members of a zip file by their plain names. A size in its directory is a hint; what is read is counted."""

    def __init__(self, data: bytes) -> None:
        """Raises RosterRefused for what is no zip, too large, too full, or holds unsafe or doubled names."""
        if len(data) > MAX_PACKED_BYTES:
            raise RosterRefused("too_large", found="10 MB")
        _check_directory(data)
        try:
            self._zip = zipfile.ZipFile(io.BytesIO(data))
        except _DAMAGE as error:
            raise RosterRefused("zip_broken") from error
        members = self._zip.infolist()
        if len(members) > MAX_MEMBERS:
            raise RosterRefused("zip_bomb")
        self._members: dict[str, zipfile.ZipInfo] = {}
        for member in members:
            name = _base_name(member.filename)
            if not name or _is_clutter(member.filename):
                continue
            if name in self._members:
                raise RosterRefused("zip_twice", found=name)
            self._members[name] = member
        self._unpacked = 0

    def __contains__(self, name: str) -> bool:
        return name in self._members

    def read(self, name: str) -> bytes:
        """The content of a member. Raises RosterRefused when it is missing, locked, damaged or too large."""
        member = self._members.get(name)
        if member is None:
            raise RosterRefused("no_file", found=name)
        return b"".join(self._chunks(member, name))

    def _chunks(self, member: zipfile.ZipInfo, name: str) -> Iterator[bytes]:
        if member.flag_bits & 0x1:
            raise RosterRefused("zip_locked", file=name)
        allowed = min(MAX_UNPACKED_BYTES, max(_RATIO_FREE_BYTES, MAX_RATIO * member.compress_size))
        if member.file_size > allowed:
            raise RosterRefused("zip_bomb", file=name)
        read = 0
        try:
            with self._zip.open(member) as stream:
                while chunk := stream.read(_CHUNK_BYTES):
                    read += len(chunk)
                    self._unpacked += len(chunk)
                    if read > allowed or self._unpacked > MAX_UNPACKED_BYTES:
                        raise RosterRefused("zip_bomb", file=name)
                    yield chunk
        except _DAMAGE as error:
            raise RosterRefused("zip_broken", file=name) from error
        if read != member.file_size:
            raise RosterRefused("zip_broken", file=name)


def _check_directory(data: bytes) -> None:
    """Refuse a directory too long for ``MAX_MEMBERS`` before zipfile turns every entry into an object."""
    end = data.rfind(b"PK\x05\x06")
    if end < 0 or end + 22 > len(data):
        raise RosterRefused("zip_broken")
    (directory_bytes,) = struct.unpack_from("<I", data, end + 12)
    if directory_bytes > _DIRECTORY_BYTES_MAX:
        raise RosterRefused("zip_bomb")


def _base_name(name: str) -> str:
    """A member's name without its folder, empty for a folder. Refuses names that climb out of the package."""
    parts = name.replace("\\", "/").split("/")
    if ".." in parts or name.startswith(("/", "\\")) or ":" in name or "\0" in name:
        raise RosterRefused("zip_unsafe", found=name)
    return parts[-1]


def _is_clutter(name: str) -> bool:
    """What some systems put beside the files of a package."""
    return name.startswith("__MACOSX/") or name.rpartition("/")[2].startswith(".")
