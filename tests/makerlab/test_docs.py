"""Generated pages fit the code."""

from __future__ import annotations

from makerlab import states_page


def test_the_page_of_states_is_up_to_date():
    assert states_page.PAGE.read_text("utf-8") == states_page.page(), "run python manage.py write_docs"


def test_every_state_can_be_reached():
    for name, (_, table) in states_page.TABLES.items():
        reached = {next(iter(table))[0], *table.values()}
        assert {before for before, _ in table} <= reached, name
