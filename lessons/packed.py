"""A zip package from outside, opened with caps. Nothing is written to disk, and only files asked for are unpacked."""

from __future__ import annotations

import io
import struct
import zipfile
import zlib
from collections.abc import Callable, Iterator
from dataclasses import dataclass

MEGABYTE = 1024 * 1024
_RATIO_FREE_BYTES = MEGABYTE  # a small file of like rows may pack better than 1 : 100 and harms nobody
_DIRECTORY_ROW_BYTES = 1024
_CHUNK_BYTES = 1 << 16
_DAMAGE = (zipfile.BadZipFile, zlib.error, EOFError, NotImplementedError, struct.error, OSError, ValueError)
# what to raise: called with a code and, where there is one, ``found`` (what stood there) or ``file``. Codes: too_large,
# zip_broken, zip_bomb, zip_twice, zip_unsafe, zip_locked, no_file
Refuse = Callable[..., Exception]


@dataclass(frozen=True, slots=True)
class Caps:
    """How much a package may hold. ``folders``: members keep their path instead of their plain name."""

    packed_bytes: int
    unpacked_bytes: int
    members: int
    ratio: int = 100
    folders: bool = False


class Archive:
    """The members of a zip file by name. A size in its directory is a hint; what is read is counted."""

    def __init__(self, data: bytes, caps: Caps, refuse: Refuse) -> None:
        """Raises what ``refuse`` makes for what is no zip, too large, too full, or holds unsafe or doubled names."""
        self._caps, self._refuse = caps, refuse
        if len(data) > caps.packed_bytes:
            raise refuse("too_large", found=f"{caps.packed_bytes // MEGABYTE} MB")
        self._check_directory(data)
        try:
            self._zip = zipfile.ZipFile(io.BytesIO(data))
        except _DAMAGE as error:
            raise refuse("zip_broken") from error
        members = self._zip.infolist()
        if len(members) > caps.members:
            raise refuse("zip_bomb")
        self._members: dict[str, zipfile.ZipInfo] = {}
        for member in members:
            name = self._name(member.filename)
            if not name or _is_clutter(member.filename):
                continue
            if name in self._members:
                raise refuse("zip_twice", found=name)
            self._members[name] = member
        self._unpacked = 0

    def __contains__(self, name: str) -> bool:
        return name in self._members

    @property
    def names(self) -> list[str]:
        """The members' names in the order of the directory."""
        return list(self._members)

    def read(self, name: str, most_bytes: int | None = None) -> bytes:
        """The content of a member. Raises what ``refuse`` makes when it is missing, locked, damaged or larger than
        ``most_bytes`` or the caps."""
        member = self._members.get(name)
        if member is None:
            raise self._refuse("no_file", found=name)
        return b"".join(self._chunks(member, name, most_bytes or self._caps.unpacked_bytes))

    def _chunks(self, member: zipfile.ZipInfo, name: str, most_bytes: int) -> Iterator[bytes]:
        if member.flag_bits & 0x1:
            raise self._refuse("zip_locked", file=name)
        most = max(_RATIO_FREE_BYTES, self._caps.ratio * member.compress_size)
        allowed = min(self._caps.unpacked_bytes, most_bytes, most)
        if member.file_size > allowed:
            raise self._refuse("zip_bomb", file=name)
        read = 0
        try:
            with self._zip.open(member) as stream:
                while chunk := stream.read(_CHUNK_BYTES):
                    read += len(chunk)
                    self._unpacked += len(chunk)
                    if read > allowed or self._unpacked > self._caps.unpacked_bytes:
                        raise self._refuse("zip_bomb", file=name)
                    yield chunk
        except _DAMAGE as error:
            raise self._refuse("zip_broken", file=name) from error
        if read != member.file_size:
            raise self._refuse("zip_broken", file=name)

    def _check_directory(self, data: bytes) -> None:
        """Refuse a directory too long for ``members`` before zipfile turns every entry into an object."""
        end = data.rfind(b"PK\x05\x06")
        if end < 0 or end + 22 > len(data):
            raise self._refuse("zip_broken")
        (directory_bytes,) = struct.unpack_from("<I", data, end + 12)
        if directory_bytes > _DIRECTORY_ROW_BYTES * self._caps.members:
            raise self._refuse("zip_bomb")

    def _name(self, name: str) -> str:
        """A member's name, without its folder unless folders count; empty for a folder. Refuses names that climb out
        of the package."""
        parts = name.replace("\\", "/").split("/")
        if ".." in parts or name.startswith(("/", "\\")) or ":" in name or "\0" in name:
            raise self._refuse("zip_unsafe", found=name)
        return "/".join(parts) if self._caps.folders and parts[-1] else parts[-1]


def _is_clutter(name: str) -> bool:
    """What some systems put beside the files of a package."""
    return name.startswith("__MACOSX/") or name.rpartition("/")[2].startswith(".")
