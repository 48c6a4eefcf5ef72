"""The indexes schools' turns need, built while others write jobs. Where they were built together with the column (0003
did so, and kept everybody waiting), nothing is left to do."""

from django.db import migrations, models

from makerlab.migrating import AddIndexWhileWritten, RemoveIndexWhileWritten


class Migration(migrations.Migration):
    atomic = False
    dependencies = [("work", "0005_lane_for_telling_outside")]

    operations = [
        AddIndexWhileWritten(
            "job",
            models.Index(fields=["state", "lane", "priority", "turn", "id"], name="work_job_state_3b0768_idx"),
        ),
        AddIndexWhileWritten(
            "job", models.Index(fields=["school", "lane", "state", "turn"], name="work_job_school__129872_idx")
        ),
        AddIndexWhileWritten(
            "job", models.Index(fields=["lane", "state", "-finished_at"], name="work_job_lane_81b1b1_idx")
        ),
        RemoveIndexWhileWritten("job", "work_job_state_b5b928_idx"),
    ]
