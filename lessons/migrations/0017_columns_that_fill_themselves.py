"""Columns that came after 0.1.0: the database fills them where a process of that release writes a row."""

from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('lessons', '0016_frozen_claims'),
    ]

    operations = [
        migrations.AlterField(
            model_name='argument',
            name='says',
            field=models.CharField(blank=True, db_default='', max_length=12),
        ),
        migrations.AlterField(
            model_name='labboard',
            name='claims',
            field=models.JSONField(blank=True, db_default=[], default=list),
        ),
        migrations.AlterField(
            model_name='labboard',
            name='pins',
            field=models.JSONField(blank=True, db_default=[], default=list),
        ),
    ]
