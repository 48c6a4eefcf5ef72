from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("lessons", "0006_shown"),
    ]

    operations = [
        migrations.AddField(
            model_name="kitpart",
            name="archived_at",
            field=models.DateTimeField(blank=True, null=True),
        ),
    ]
