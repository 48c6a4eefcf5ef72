"""Indexes for a district's number of files, built while others write: what waits for review, and what is stored."""

from django.db import migrations, models

from makerlab.migrating import AddIndexWhileWritten


class Migration(migrations.Migration):
    atomic = False
    dependencies = [("submissions", "0003_shown"), ("lessons", "0017_columns_that_fill_themselves")]

    operations = [
        AddIndexWhileWritten(
            "submission",
            models.Index(
                fields=["team"], condition=models.Q(("state", "handed_in")), name="submission_waiting_for_review"
            ),
        ),
        AddIndexWhileWritten(
            "submission",
            models.Index(fields=["assignment", "file", "file_bytes"], name="submission_stored_bytes"),
        ),
    ]
