"""An index to find the rows that point to a stored file, before it is deleted; built while others write."""

from django.db import migrations, models

from makerlab.migrating import AddIndexWhileWritten


class Migration(migrations.Migration):
    atomic = False
    dependencies = [("lessons", "0017_columns_that_fill_themselves")]

    operations = [
        AddIndexWhileWritten("kitpart", models.Index(fields=["file"], name="kit_part_of_a_file")),
    ]
