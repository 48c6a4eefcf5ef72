"""Generated pages fit the code."""

from __future__ import annotations

from django.apps import apps

from makerlab import states_page
from makerlab.api.site import OPENAPI, described
from makerlab.privacy import page as privacy_page
from makerlab.privacy.datamap import OTHER, PERSONAL


def test_the_page_of_states_is_up_to_date():
    assert states_page.PAGE.read_text("utf-8") == states_page.page(), "run python manage.py write_docs"


def test_the_description_of_the_interface_is_up_to_date(client):
    written = OPENAPI.read_text("utf-8")
    assert written == described(), "run python manage.py write_docs"
    assert client.get("/api/v1/openapi.json").content.decode() == written


def test_every_state_can_be_reached():
    for name, (_, table) in states_page.TABLES.items():
        reached = {next(iter(table))[0], *table.values()}
        assert {before for before, _ in table} <= reached, name


def test_the_page_of_privacy_is_up_to_date():
    assert privacy_page.PAGE.read_text("utf-8") == privacy_page.page(), "run python manage.py write_docs"


def test_every_stored_field_is_classified_as_personal_or_not():
    """A new field stands in makerlab/privacy/datamap.py before this passes: is it about a person, whose, until when."""
    stored, classified = {}, {}
    for model in apps.get_models(include_auto_created=True):
        label = model._meta.label
        stored[label] = {field.name for field in model._meta.concrete_fields} - {"id"}
        personal = [one.field for one in PERSONAL.get(label, ())]
        other = OTHER.get(label, "").split()
        assert len(personal) + len(other) == len({*personal, *other}), f"{label}: a field stands twice"
        classified[label] = {*personal, *other}
    assert classified == stored
    assert set(PERSONAL) | set(OTHER) == set(stored)
