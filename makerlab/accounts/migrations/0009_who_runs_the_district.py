"""Who may make schools and set their stores in the browser: nobody until a command gives it."""

from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('accounts', '0008_columns_that_fill_themselves'),
    ]

    operations = [
        migrations.AddField(
            model_name='user',
            name='runs_district',
            field=models.BooleanField(db_default=False, default=False),
        ),
    ]
