"""An index for the newest plan of a room, which every page of the room asks for; built while others write."""

from django.db import migrations, models

from makerlab.migrating import AddIndexWhileWritten


class Migration(migrations.Migration):
    atomic = False
    dependencies = [("printing", "0012_copies_under_way")]

    operations = [
        AddIndexWhileWritten("roomplan", models.Index(fields=["room", "-id"], name="newest_plan_of_a_room")),
    ]
