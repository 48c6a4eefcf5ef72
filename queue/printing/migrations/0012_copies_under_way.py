"""An index for the copies that are not in a tray yet, built while others write."""

from django.db import migrations, models

from makerlab.migrating import AddIndexWhileWritten


class Migration(migrations.Migration):
    atomic = False
    dependencies = [("printing", "0011_columns_that_fill_themselves")]

    operations = [
        AddIndexWhileWritten(
            "printcopy",
            models.Index(
                fields=["request"],
                condition=models.Q(("state__in", ["waiting", "planned", "printing"])),
                name="copy_under_way",
            ),
        ),
    ]
