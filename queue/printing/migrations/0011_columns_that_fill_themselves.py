"""Columns that came after 0.1.0: the database fills them where a process of that release writes a row."""

from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('printing', '0010_when_a_plate_changed'),
    ]

    operations = [
        migrations.AlterField(
            model_name='printrequest',
            name='held',
            field=models.BooleanField(db_default=False, default=False),
        ),
        migrations.AlterField(
            model_name='printrequest',
            name='urgent_because',
            field=models.CharField(blank=True, db_default='', max_length=120),
        ),
        migrations.AlterField(
            model_name='roomplan',
            name='causes',
            field=models.JSONField(db_default=[], default=list),
        ),
    ]
