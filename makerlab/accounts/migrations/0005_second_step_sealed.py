"""The keys of authenticator apps are encrypted where they lie."""

from django.db import migrations, models

import makerlab.accounts.sealed
from makerlab.accounts.sealed import seal, unseal


def seal_all(apps, schema_editor):
    """The column holds plain keys until here; read and written as plain text, whatever the field makes of it."""
    for row in apps.get_model("accounts", "SecondStep").objects.all():
        row.secret = seal(row.secret)
        row.save(update_fields=["secret"])


def unseal_all(apps, schema_editor):
    for row in apps.get_model("accounts", "SecondStep").objects.all():
        row.secret = unseal(row.secret)
        row.save(update_fields=["secret"])


class Migration(migrations.Migration):
    dependencies = [("accounts", "0004_passwords_on_paper")]

    operations = [
        migrations.AlterField("secondstep", "secret", models.TextField()),
        migrations.RunPython(seal_all, unseal_all),
        migrations.AlterField("secondstep", "secret", makerlab.accounts.sealed.SealedField()),
    ]
