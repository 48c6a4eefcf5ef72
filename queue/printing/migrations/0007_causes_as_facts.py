from django.db import migrations, models


def keep_what_was_told(apps, schema_editor):
    """A sentence of before stays what it was, until newer plans have pushed it out."""
    RoomPlan = apps.get_model("printing", "RoomPlan")
    for plan in RoomPlan.objects.exclude(cause="").only("id", "cause", "causes").iterator():
        plan.causes = [{"code": "told", "words": plan.cause}]
        plan.save(update_fields=["causes"])


class Migration(migrations.Migration):

    dependencies = [
        ("printing", "0006_written_permission"),
    ]

    operations = [
        migrations.AddField("roomplan", "causes", models.JSONField(default=list)),
        migrations.RunPython(keep_what_was_told, migrations.RunPython.noop),
        migrations.RemoveField("roomplan", "cause"),
    ]
