"""What the tests of kills count by: the database itself notes each committed write, by triggers of its own. No code of
ours is asked, and a write that was rolled back leaves no note."""

from __future__ import annotations

from collections import Counter

from django.db import connection

# what is noted: its name, the event and the table, the condition on the new row, the row it is about
NOTED = [
    ("checked", "UPDATE OF check_state ON submissions_submission", "NEW.check_state = 'checked'", "NEW.id"),
    ("job done", "UPDATE OF state ON work_job", "NEW.state = 'done'", "NEW.id"),
    ("job failed", "UPDATE OF state ON work_job", "NEW.state = 'failed'", "NEW.id"),
    ("plan written", "INSERT ON printing_roomplan", "1 = 1", "NEW.room_id"),
]


def note_writes() -> None:
    """Begin to note. Once in a database, before anything is to be counted."""
    with connection.cursor() as cursor:
        cursor.execute("CREATE TABLE noted_by_the_test (what VARCHAR(20), row_id BIGINT)")
        for number, (what, event, when, row) in enumerate(NOTED):
            insert = f"INSERT INTO noted_by_the_test VALUES ('{what}', {row});"
            head = f"CREATE TRIGGER noted_{number} AFTER {event} FOR EACH ROW"
            if connection.vendor == "sqlite":
                cursor.execute(f"{head} WHEN {when} BEGIN {insert} END")
                continue
            cursor.execute(
                f"CREATE FUNCTION noted_{number}() RETURNS trigger LANGUAGE plpgsql "
                f"AS $$ BEGIN {insert} RETURN NULL; END $$"
            )
            cursor.execute(f"{head} WHEN ({when}) EXECUTE FUNCTION noted_{number}()")


def noted(what: str) -> Counter[int]:
    """How often each row was written so."""
    with connection.cursor() as cursor:
        cursor.execute("SELECT row_id, COUNT(*) FROM noted_by_the_test WHERE what = %s GROUP BY row_id", [what])
        return Counter(dict(cursor.fetchall()))
