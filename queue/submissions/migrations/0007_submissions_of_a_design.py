"""An index to find parts of the same volume among a school's thousands; built while others write."""

from django.db import migrations, models

from makerlab.migrating import AddIndexWhileWritten


class Migration(migrations.Migration):
    atomic = False
    dependencies = [("submissions", "0006_volume_of_a_design")]

    operations = [
        AddIndexWhileWritten(
            "submission", models.Index(fields=["kit_part", "design_volume_mm3"], name="submission_of_a_design")
        ),
    ]
