from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("printing", "0002_calibration_pins_whatif"),
    ]

    operations = [
        migrations.AddField(
            model_name="preparedfile",
            name="arrangement",
            field=models.CharField(default="", max_length=64),
        ),
    ]
