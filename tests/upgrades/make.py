"""Makes the fixture of the release in hand: a small school's backup. Run once for each release, then never again:

python -m tests.upgrades.make     writes tests/upgrades/<version>.backup.zip

The file is a backup as ``manage.py backup`` makes it, so that the test of upgrades goes the way a school goes.
"""

from __future__ import annotations

import os
import shutil
import tempfile
from pathlib import Path

HERE = Path(__file__).resolve().parent


def main() -> Path:
    with tempfile.TemporaryDirectory() as name:
        os.environ |= {"MAKERLAB_VAR": name, "DJANGO_SETTINGS_MODULE": "makerlab.settings"}
        os.environ.pop("DATABASE_URL", None)
        import django

        django.setup()
        from django.core.management import call_command

        from makerlab.keeping.backup import make_backup, release
        from makerlab.keeping.encryption import Lock

        call_command("migrate", verbosity=0)
        fill()
        made = make_backup(Path(name) / "backups", Lock())
        target = HERE / f"{release()}.backup.zip"
        shutil.copyfile(made.path, target)
    return target


def fill() -> None:
    """Something of everything that a release must carry over: people, a lesson, parts, the queue, a plate, a run."""
    from printing import actions
    from printing.models import Plate, Run
    from tests.printing.helpers import ALL_CHECKED, make_plate, ordered
    from tests.submissions.make import make_submission
    from tests.world import make_world

    world = make_world()
    make_submission(world, version=1, state="replaced")
    first, second = ordered(world), ordered(world, world.second_team)
    plate = make_plate(world, first)
    make_plate(world, second, number=2)
    actions.start_plate(Plate.objects.get(pk=plate.pk), world.printers[0], world.technician, ALL_CHECKED)
    actions.mark_failed(Run.objects.get(), world.technician, "jam")


if __name__ == "__main__":
    print(main())
