"""The command for whoever runs an installation of many schools: counts, limits, and nobody's name."""

from __future__ import annotations

from io import StringIO

import pytest
from django.core.management import call_command
from django.core.management.base import CommandError

from makerlab.accounts.models import School, User
from makerlab.audit.models import Event
from submissions.models import Submission
from tests.submissions.make import post_file, stl_upload, wheel_stl
from tests.world import make_student

pytestmark = pytest.mark.django_db


def told(*arguments: str) -> list[str]:
    out = StringIO()
    call_command("schools", *arguments, stdout=out)
    return out.getvalue().splitlines()


def test_every_school_is_counted_and_nobody_is_named(world, signed_in):
    make_student(world.school_class, world.team, "Wren")
    post_file(signed_in(world.student), world, stl_upload(wheel_stl(5)))
    head, ours, other = told()
    assert head.split()[:4] == ["school", "classes", "students", "staff"]
    megabytes = f"{Submission.objects.get().file_bytes / 1024**2:.1f}"
    assert ours.removeprefix(world.school.name).split()[:7] == ["2", "3", "4", "1", megabytes, "20480", "1"]
    assert other.removeprefix(world.other_school.name).split() == ["1", "1", "2", "0", "0.0", "20480", "0", "never"]
    everything = "\n".join(told())
    assert [name for name in User.objects.values_list("display_name", flat=True) if f" {name} " in everything] == []


def test_one_school_gets_a_limit_of_its_own_and_loses_it_again(world, signed_in):
    assert told(world.school.name, "--store-mb", "1")[1].split()[-3] == "1"
    world.school.refresh_from_db()
    assert (world.school.store_max_mb, School.objects.get(pk=world.other_school.pk).store_max_mb) == (1, None)
    large = stl_upload(wheel_stl(5) + b"\0" * 1024**2)
    answer = post_file(signed_in(world.student), world, large)
    assert "store of 1 MB is full" in answer.content.decode()
    assert not Submission.objects.exists()
    told(world.school.name, "--store-mb", "0")
    world.school.refresh_from_db()
    assert world.school.store_max_mb is None
    assert [event.verb for event in Event.objects.filter(verb="store_max_mb")] == ["store_max_mb"] * 2


@pytest.mark.parametrize(
    ("arguments", "why"),
    [
        (["Nowhere School"], "no school named"),
        (["--store-mb", "5"], "Name the school"),
        (["Alderwick School", "--store-mb", "-1"], "1 to 2,000,000"),
    ],
)
def test_what_cannot_be_is_said(world, arguments, why):
    with pytest.raises(CommandError, match=why):
        told(*arguments)
    assert not School.objects.exclude(store_max_mb=None).exists()
