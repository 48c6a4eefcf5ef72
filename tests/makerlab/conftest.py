"""Who runs the district, for the tests of its pages."""

from __future__ import annotations

import pytest
from django.test import Client

from makerlab.accounts.models import User
from tests.makerlab.district import (
    with_step,
)
from tests.world import World


@pytest.fixture
def head(world: World) -> User:
    """Our school's administrator runs the district."""
    User.objects.filter(pk=world.administrator.pk).update(runs_district=True)
    world.administrator.refresh_from_db()
    return with_step(world.administrator)


@pytest.fixture
def desk(head: User, signed_in) -> Client:
    return signed_in(head)
