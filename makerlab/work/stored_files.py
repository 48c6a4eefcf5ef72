"""Files of the store for the disposable child, which reads local files only and knows neither the store nor its keys.

Whoever asks a child names a stored file by ``stored(row.file)``; ``child.run`` puts a local path in its place for as
long as the child runs: the file itself where the store is a folder, else a copy that is removed afterwards.
"""

from __future__ import annotations

import secrets
import shutil
import tempfile
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path
from typing import Any

from django.core.files.base import ContentFile
from django.core.files.storage import Storage, default_storage

COPY_BYTES = 1024 * 1024


class Stored(str):
    """The name of a file in the store among the arguments of a child; empty when nothing is stored."""

    __slots__ = ()


def stored(file: Any) -> Stored:
    """The name of a row's file, to stand among a child's arguments."""
    return Stored(file.name or "" if file else "")


def is_folder(store: Storage | None = None) -> bool:
    """Whether the store is a folder of this machine."""
    try:
        (store or default_storage).path("x")
    except NotImplementedError:
        return False
    return True


@contextmanager
def in_place(arguments: dict[str, Any]) -> Iterator[dict[str, Any]]:
    """The arguments with a local path for every stored file, good inside the block; each file is fetched once.

    Raises FileNotFoundError, with the name as ``filename``, when a file is not in the store.
    """
    with ExitStack() as stack:
        paths: dict[str, str] = {}

        def local(value: Any) -> Any:
            if isinstance(value, Stored):
                if value not in paths:
                    paths[value] = _fetch(value, stack)
                return paths[value]
            if isinstance(value, dict):
                return {key: local(each) for key, each in value.items()}
            return [local(each) for each in value] if isinstance(value, list) else value

        yield local(arguments)


def prove_store() -> None:
    """Write, read and delete a small file. Raises whatever the store raises, or ValueError."""
    content = secrets.token_bytes(4096)
    name = default_storage.save(f"proof/{secrets.token_hex(8)}", ContentFile(content))
    try:
        with default_storage.open(name, "rb") as file:
            if file.read() != content:
                raise ValueError("what was read is not what was written")
    finally:
        default_storage.delete(name)
    if default_storage.exists(name):
        raise ValueError("a file is still there after it was deleted")


def _fetch(name: Stored, stack: ExitStack) -> str:
    if not name:
        raise _gone(name)
    if is_folder():
        path = default_storage.path(name)
        if not Path(path).exists():
            raise _gone(name)
        return path
    copy = stack.enter_context(tempfile.NamedTemporaryFile(prefix="stored-"))  # noqa: SIM115 - the stack closes it
    try:
        with default_storage.open(name, "rb") as source:
            shutil.copyfileobj(source, copy, COPY_BYTES)
    except FileNotFoundError as error:
        raise _gone(name) from error
    copy.flush()
    return copy.name


def _gone(name: Stored) -> FileNotFoundError:
    return FileNotFoundError(2, "not in the store", str(name))
