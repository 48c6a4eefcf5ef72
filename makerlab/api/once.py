"""A POST with an Idempotency-Key is done once: the same request again gets the first answer.

What is done and the answer are written in one transaction, so that a process that dies in between leaves neither.
A refusal changed nothing and is not kept: the same key may be tried again.
"""

from __future__ import annotations

import hashlib
import re
from collections.abc import Callable
from datetime import timedelta

from django.core.exceptions import RequestDataTooBig
from django.db import transaction
from django.http import HttpRequest, HttpResponse
from django.utils import timezone

from makerlab.api.models import ApiToken, KeptAnswer
from makerlab.api.problems import problem

KEY = re.compile(r"[\x21-\x7e]{1,80}")
KEPT_FOR = timedelta(days=1)


def once(request: HttpRequest, token: ApiToken, act: Callable[[], HttpResponse]) -> HttpResponse:
    """Do it, or answer as the first time."""
    key = request.headers.get("Idempotency-Key")
    if key is None:
        return act()
    if not KEY.fullmatch(key):
        return problem(422, "An Idempotency-Key is 1 to 80 visible ASCII characters.", code="bad_key")
    try:
        asked = fingerprint(request)
    except RequestDataTooBig:
        return problem(413)
    with transaction.atomic():
        kept, is_first = KeptAnswer.objects.get_or_create(token=token, key=key, defaults={"asked": asked})
        if kept.asked != asked:
            return problem(422, "This Idempotency-Key was used for another request.", code="key_used")
        if not is_first:
            answer = HttpResponse(kept.body, status=kept.status, content_type="application/json; charset=utf-8")
            answer["Idempotency-Replayed"] = "true"
            return answer
        response = act()
        if 200 <= response.status_code < 300:
            kept.status, kept.body = response.status_code, response.content.decode()
            kept.save(update_fields=["status", "body"])
        else:
            transaction.set_rollback(True)
    return response


def fingerprint(request: HttpRequest) -> str:
    """sha256 of address and body; of a form its fields and its files' bytes. Raises RequestDataTooBig."""
    digest = hashlib.sha256(request.get_full_path().encode() + b"\0")
    if request.content_type != "multipart/form-data":
        digest.update(request.body)
        return digest.hexdigest()
    for name in sorted(request.POST):
        digest.update(repr((name, request.POST.getlist(name))).encode())
    for name in sorted(request.FILES):
        for file in request.FILES.getlist(name):
            content = hashlib.sha256()
            for piece in file.chunks():
                content.update(piece)
            file.seek(0)
            digest.update(repr((name, file.name, content.hexdigest())).encode())
    return digest.hexdigest()


def forget_old_answers() -> None:
    """A chore of the day: answers are kept for a day."""
    KeptAnswer.objects.filter(made_at__lt=timezone.now() - KEPT_FOR).delete()
