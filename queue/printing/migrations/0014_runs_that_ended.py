"""An index for the runs of a printer that ended since some moment, which bench and room plan ask for; built while others
write."""

from django.db import migrations, models

from makerlab.migrating import AddIndexWhileWritten


class Migration(migrations.Migration):
    atomic = False
    dependencies = [("printing", "0013_newest_plan_of_a_room")]

    operations = [
        AddIndexWhileWritten("run", models.Index(fields=["printer", "ended_at"], name="run_of_a_printer_ended")),
    ]
