"""What the tests of the district's pages share."""

from __future__ import annotations

import re
from html import unescape
from io import StringIO

import pyotp
from django.core.files.base import ContentFile
from django.core.management import call_command
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from makerlab.accounts.models import School, SecondStep, User

LIST = "/district/"
NEW = "/district/schools/new/"
VALUES = {"name": "Tallow Creek School", "time_zone": "America/Denver", "username": "ida", "display_name": "Ida Ferns"}
QUERIES_MOST = 8
LATE = '#s-late"'


def store_page(school: School) -> str:
    return reverse("district:school-store", args=[school.pk])


def with_step(person: User) -> User:
    SecondStep.objects.create(user=person, secret=pyotp.random_base32(), confirmed_at=timezone.now())
    return person


def command(*arguments: str) -> str:
    out = StringIO()
    call_command("district", *arguments, stdout=out)
    return out.getvalue()


def with_file(submission, size: int, name: str | None = None):
    """A stored file of that many bytes, or one that is stored already."""
    if name is None:
        submission.file.save("", ContentFile(b"x"))
    else:
        submission.file.name = name
    submission.file_bytes = size
    submission.save()
    return submission


def row_of(desk: Client, school: School) -> list[str]:
    """The cells of a school's row, without tags and in plain spaces."""
    for row in re.findall(r"<tr\b.*?</tr>", desk.get(LIST).text, re.DOTALL):
        cells = [
            " ".join(unescape(re.sub(r"<[^>]*>", " ", cell)).split())
            for cell in re.findall(r"<t[hd]\b[^>]*>(.*?)</t[hd]>", row, re.DOTALL)
        ]
        if cells and cells[0].startswith(school.name):
            return cells
    raise LookupError(school.name)
