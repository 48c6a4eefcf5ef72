"""The shown mesh and the rendered pictures of a measured file: kept beside it under their own hash, sent to whoever may
see the file, deleted with it. A view checks who may see the item before it calls an answer here."""

from __future__ import annotations

import base64
import binascii
import gzip
import hashlib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import partial
from typing import Any

from django.core.files.base import ContentFile
from django.core.files.storage import default_storage
from django.db import transaction
from django.http import FileResponse, Http404, HttpRequest, HttpResponse, HttpResponseBase
from django.utils.cache import get_conditional_response, patch_vary_headers
from django.utils.http import quote_etag

from lessons.models import MeasuredFile
from meshcheck.shown.binary import is_packed
from meshcheck.shown.png import PNG_BYTES_MOST, SIGNATURE

MESH, PICTURE, SMALL = "mesh", "picture", "small"
SUFFIX = {MESH: ".mesh.gz", PICTURE: ".png", SMALL: "-small.png"}
FACTS = {"faces": int, "faces_measured": int, "flags": dict, "bytes": int, "from_below": bool}
UNPACKED_MOST = 32 * 1024 * 1024
KEY_CHARACTERS = 32


@dataclass(frozen=True, slots=True)
class ShownFiles:
    """What a check made for looking at: bytes by kind, and the facts of meshcheck.shown.make.Shown with their key."""

    data: Mapping[str, bytes]
    facts: dict[str, Any]


def read_answer(answer: Any, bed_mm: tuple[float, float, float] | None = None) -> ShownFiles | None:
    """The child's answer as files; None when nothing is shown. Raises ValueError when it has not the shape that is
    written: the child has handled a hostile file. ``bed_mm``: the largest bed, drawn under the part."""
    if answer is None:
        return None
    try:
        data = {kind: base64.b64decode(answer[kind], validate=True) for kind in SUFFIX}
        facts = {name: kind(answer["facts"][name]) for name, kind in FACTS.items()}
        facts["flags"] = {str(name): int(count) for name, count in facts["flags"].items()}
        mesh = _unpacked(data[MESH])
    except (KeyError, TypeError, AttributeError, binascii.Error, OSError, EOFError) as error:
        raise ValueError("what the check made for looking at is not whole") from error
    pictures = [data[PICTURE], data[SMALL]]
    if not is_packed(mesh) or any(not p.startswith(SIGNATURE) or len(p) > PNG_BYTES_MOST for p in pictures):
        raise ValueError("what the check made for looking at is not what it should be")
    digest = hashlib.sha256(b"".join(hashlib.sha256(data[kind]).digest() for kind in SUFFIX))
    key = digest.hexdigest()[:KEY_CHARACTERS]
    return ShownFiles(data, {**facts, "bytes": len(data[MESH]), "key": key, "bed_mm": bed_mm and list(bed_mm)})


def _unpacked(data: bytes) -> bytes:
    with gzip.GzipFile(fileobj=ContentFile(data)) as stream:
        mesh: bytes = stream.read(UNPACKED_MOST + 1)
    if len(mesh) > UNPACKED_MOST:
        raise ValueError("the shown mesh is larger than it may be")
    return mesh


def place_of(item: MeasuredFile, kind: str, key: str) -> str:
    """Where in the store the item's file of that kind lies: named after its own file, so that no two parts share."""
    return f"shown/{(item.file.name or '').removeprefix('parts/')}-{key}{SUFFIX[kind]}"


def picture_of(item: MeasuredFile) -> bytes | None:
    """The rendered picture, PNG; None where there is none."""
    key = (item.shown or {}).get("key")
    if not key or not item.file:
        return None
    try:
        with default_storage.open(place_of(item, PICTURE, key), "rb") as stream:
            return bytes(stream.read())
    except FileNotFoundError:
        return None


def keep(item: MeasuredFile, files: ShownFiles | None) -> None:
    """Store the files; what was shown of the item before goes when the transaction is committed."""
    key = files.facts["key"] if files else None
    if files and item.file:
        for kind, data in files.data.items():
            place = place_of(item, kind, files.facts["key"])
            if not default_storage.exists(place):
                default_storage.save(place, ContentFile(data))
    if (item.shown or {}).get("key") != key:
        forget(item)


def forget(item: MeasuredFile, **_signal: Any) -> None:
    """Delete what is shown of the item once the transaction is committed, unless another row shows the same of the same
    file by then."""
    key = (item.shown or {}).get("key")
    if key and item.file:
        places = [place_of(item, kind, key) for kind in SUFFIX]
        transaction.on_commit(partial(_delete_shown, str(item.file.name), key, places))


def _delete_shown(file_name: str, key: str, places: list[str]) -> None:
    models = MeasuredFile.__subclasses__()
    if not any(model._default_manager.filter(file=file_name, shown__key=key).exists() for model in models):
        for place in places:
            default_storage.delete(place)


def forget_deleted(instance: MeasuredFile, **_signal: Any) -> None:
    """Receiver of ``post_delete``."""
    forget(instance)


def answer(request: HttpRequest, item: MeasuredFile | None, kind: str) -> HttpResponseBase:
    """The item's file of that kind, or 304 when the browser holds it already; 404 when there is none. The browser may
    keep it but asks each time, so that whoever may no longer see the part gets nothing."""
    key = (item.shown or {}).get("key") if item is not None else None
    if item is None or not key:
        raise Http404
    etag = quote_etag(f"{key}-{kind}")
    response: HttpResponseBase | None = get_conditional_response(request, etag=etag)
    if response is None or response.status_code != 304:
        response = _sent(request, place_of(item, kind, key), kind)
    response["ETag"] = etag
    response["Cache-Control"] = "private, no-cache"
    patch_vary_headers(response, ["Cookie", "Accept-Encoding"])
    return response


def _sent(request: HttpRequest, place: str, kind: str) -> HttpResponseBase:
    try:
        stream = default_storage.open(place, "rb")
    except FileNotFoundError as error:
        raise Http404 from error
    if kind != MESH:
        return FileResponse(stream, content_type="image/png")
    if "gzip" not in request.headers.get("Accept-Encoding", ""):
        with stream:
            return HttpResponse(gzip.decompress(stream.read()), content_type="application/octet-stream")
    response = FileResponse(stream, content_type="application/octet-stream")
    response["Content-Encoding"] = "gzip"
    return response
