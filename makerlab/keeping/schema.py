"""Whether the database fits this release: what is still to be applied, and what only a newer release knows."""

from __future__ import annotations

from collections.abc import Iterable

from django.apps import apps
from django.db import connection
from django.db.migrations.loader import MigrationLoader
from django.db.models import Model

from makerlab.keeping.trouble import KeepingTrouble

NEWER = (
    "The database was changed by a newer release of Makerlab (it has {names}, which this release does not know). "
    "Nothing was touched. Install that release again, or restore the backup made before the upgrade."
)


# of the library for single sign-on (extra sso): empty tables, which stay when it is turned off and tell of no newer
# release
OF_AN_EXTRA = {"account", "socialaccount"}


def known_migrations() -> set[str]:
    """``app.name`` of every migration of this release."""
    loader = MigrationLoader(None)
    replaced = {old for migration in loader.disk_migrations.values() for old in migration.replaces}
    return {f"{app}.{name}" for app, name in {*loader.disk_migrations, *replaced}}


def unknown(applied: Iterable[str]) -> list[str]:
    """Migrations in ``applied`` that this release does not have."""
    return sorted(name for name in set(applied) - known_migrations() if name.partition(".")[0] not in OF_AN_EXTRA)


def applied_migrations() -> set[str]:
    """What the database says was applied to it; nothing for an empty one."""
    loader = MigrationLoader(connection)
    return {f"{app}.{name}" for app, name in loader.applied_migrations}


def waiting_migrations() -> list[str]:
    """Migrations of this release that the database has not had yet, in the order they would run."""
    loader = MigrationLoader(connection)
    plan = [node for target in loader.graph.leaf_nodes() for node in loader.graph.forwards_plan(target)]
    missing = [node for node in dict.fromkeys(plan) if node not in loader.applied_migrations]
    return [f"{app}.{name}" for app, name in missing]


def models_of_database() -> list[type[Model]]:
    """The models as the database has them: those of this release, or, while it waits for an upgrade, the older ones."""
    if not waiting_migrations():
        return list(apps.get_models())
    loader = MigrationLoader(connection)
    had = [node for node in loader.graph.nodes if node in loader.applied_migrations]
    return list(loader.project_state(had).apps.get_models())


def refuse_newer(applied: Iterable[str] | None = None) -> None:
    """Raises KeepingTrouble when the database (or the given list) knows migrations that this release does not."""
    strange = unknown(applied_migrations() if applied is None else applied)
    if strange:
        raise KeepingTrouble(NEWER.format(names=", ".join(strange[:3]) + (" and others" if len(strange) > 3 else "")))
