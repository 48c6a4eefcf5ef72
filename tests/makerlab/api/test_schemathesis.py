"""Schemathesis against the served description, in this process: hundreds of requests of four people, valid ones and
spoilt ones, with ids of our objects and ids of nothing. Whatever is sent, the answer is one the description names, in
its form, and never a server error; what is spoilt is refused.

The same examples in every run (tests/conftest.py); what one of them changes is undone before the next.
"""

from __future__ import annotations

import itertools
from typing import Any

import hypothesis
import pytest
import schemathesis
from django.core.wsgi import get_wsgi_application
from django.db import transaction
from hypothesis import HealthCheck, Phase
from hypothesis.errors import Unsatisfiable
from schemathesis import GenerationMode
from schemathesis.checks import not_a_server_error
from schemathesis.specs.openapi.checks import (
    content_type_conformance,
    negative_data_rejection,
    response_headers_conformance,
    response_schema_conformance,
    status_code_conformance,
)

from makerlab.accounts.models import Role, User
from tests.makerlab.api.calling import give_token
from tests.makerlab.site_addresses import objects
from tests.world import PASSWORD, World

pytestmark = [pytest.mark.django_db, pytest.mark.slow]
CHECKS = [
    not_a_server_error,
    status_code_conformance,
    content_type_conformance,
    response_headers_conformance,
    response_schema_conformance,
    negative_data_rejection,
]
EXAMPLES = 5
# they take nothing but the token, or, where that is fixed, an id
NOTHING_TO_SPOIL = {("me", False), ("room-list", False), ("submission-detail", True), ("run-detail", True)}
PEOPLE = ("administrator", "technician", "teacher", "other_administrator")
UNDONE = hypothesis.settings(
    max_examples=EXAMPLES,
    phases=[Phase.generate],
    suppress_health_check=list(HealthCheck),
)


def person(world: World, who: str) -> User:
    if who == "other_administrator":
        return User.objects.create_staff(world.other_school, who, Role.ADMINISTRATOR, PASSWORD, "other head")
    found: User = getattr(world, who)
    return found


@pytest.mark.parametrize("who", PEOPLE)
def test_every_answer_is_one_that_is_described(world, settings, who):
    settings.API_REQUESTS_A_MINUTE = 10**9
    known = objects(world)
    headers = {"Authorization": f"Bearer {give_token(person(world, who))}"}
    schema = schemathesis.openapi.from_wsgi("/api/v1/openapi.json", get_wsgi_application())
    statuses: dict[int, int] = {}
    unspoilt: set[tuple[str, bool]] = set()
    operations = [each.ok() for each in schema.get_all_operations()]
    assert len(operations) >= 17
    for operation in operations:
        name = operation.definition.raw["operationId"]
        ours = {"path_parameters": {"pk": known[name.partition("-")[0]].pk}} if "{pk}" in operation.path else {}
        for mode, fixed in itertools.product(GenerationMode, [ours, {}] if ours else [{}]):
            try:
                ask_often(operation.as_strategy(mode, headers=headers, **fixed), headers, statuses)
            except Unsatisfiable:
                unspoilt.add((name, bool(fixed)))
    assert unspoilt == NOTHING_TO_SPOIL
    assert sum(statuses.values()) > 150
    assert statuses.keys() >= {200, 404, 422}


def ask_often(cases: Any, headers: dict[str, str], statuses: dict[int, int]) -> None:
    """Send some of these and count what was answered."""

    @UNDONE
    @hypothesis.given(case=cases)
    def ask(case: schemathesis.Case) -> None:
        with transaction.atomic():
            response = case.call_and_validate(headers=headers, checks=CHECKS)
            statuses[response.status_code] = statuses.get(response.status_code, 0) + 1
            transaction.set_rollback(True)

    ask()
