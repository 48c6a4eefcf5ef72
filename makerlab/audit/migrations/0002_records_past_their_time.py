"""Indexes for the records of a school: those past their time, and how many of each verb. Built while others write."""

from django.db import migrations, models

from makerlab.migrating import AddIndexWhileWritten


class Migration(migrations.Migration):
    atomic = False
    dependencies = [("audit", "0001_initial")]

    operations = [
        AddIndexWhileWritten("event", models.Index(fields=["school", "at"], name="event_of_school_at")),
        AddIndexWhileWritten("event", models.Index(fields=["school", "verb"], name="event_of_school_verb")),
    ]
