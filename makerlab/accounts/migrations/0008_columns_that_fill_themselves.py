"""Columns that came after 0.1.0: the database fills them where a process of that release writes a row."""

from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('accounts', '0007_store_of_a_school'),
    ]

    operations = [
        migrations.AlterField(
            model_name='school',
            name='keep_days',
            field=models.PositiveSmallIntegerField(db_default=60, default=60),
        ),
        migrations.AlterField(
            model_name='school',
            name='second_step_required',
            field=models.BooleanField(db_default=False, default=False),
        ),
        migrations.AlterField(
            model_name='user',
            name='session_epoch',
            field=models.PositiveIntegerField(db_default=0, default=0),
        ),
    ]
