"""An index to find the rows that point to a stored file, before it is deleted; built while others write."""

from django.db import migrations, models

from makerlab.migrating import AddIndexWhileWritten


class Migration(migrations.Migration):
    atomic = False
    dependencies = [("submissions", "0004_indexes_at_size")]

    operations = [
        AddIndexWhileWritten("submission", models.Index(fields=["file"], name="submission_of_a_file")),
    ]
