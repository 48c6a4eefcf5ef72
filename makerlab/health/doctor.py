"""What is wrong with an installation, line by line, each with the remedy. ``manage.py doctor`` prints it.

A check is a function that yields findings; apps add theirs to ``CHECKS`` when they start. A check that breaks is told
as a finding: the doctor looks at what may be broken.
"""

from __future__ import annotations

import stat
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import timedelta
from enum import IntEnum
from pathlib import Path
from shutil import disk_usage, which

from django.conf import settings
from django.db import connection
from django.utils import timezone

from makerlab.environment import unknown_names
from makerlab.health import ready
from makerlab.health.logs import told
from makerlab.keeping.retention import LATE, backups_in
from makerlab.keeping.schema import applied_migrations, unknown, waiting_migrations
from makerlab.keeping.trouble import MEGABYTE
from makerlab.work.beat import ALIVE_S, alive, lanes_without_worker
from makerlab.work.models import Job
from makerlab.work.warmth import is_warm

FREE_LEAST_MB, FREE_LOW_MB = 512, 5120  # our own choice: a backup and a class's uploads want about that
CLOCK_APART_S = 5.0
WAITS_LONG = timedelta(minutes=15)


class Level(IntEnum):
    FINE, CARE, WRONG = range(3)


@dataclass(frozen=True)
class Finding:
    """``what`` was looked at and how it stands; ``remedy`` unless all is fine."""

    level: Level
    what: str
    remedy: str = ""


Check = Callable[[], Iterator[Finding]]


def fine(what: str) -> Finding:
    return Finding(Level.FINE, what)


def environment() -> Iterator[Finding]:
    for name, meant in unknown_names():
        hint = f"It may have meant {meant}." if meant else "manage.py config lists what is read."
        yield Finding(Level.CARE, f"{name} is set and nothing reads it", hint)
    local = set(settings.ALLOWED_HOSTS) <= {"127.0.0.1", "localhost", "[::1]"}
    if not settings.HTTPS and not local:
        yield Finding(
            Level.CARE, "served to others without TLS", "Put a proxy with TLS in front and set MAKERLAB_HTTPS=1."
        )
    if settings.DEMO:
        yield Finding(Level.CARE, "demo: whoever opens the page can be anybody", "Unset MAKERLAB_DEMO for real pupils.")


def database() -> Iterator[Finding]:
    if (said := ready.database()) == "not reached":
        where = (
            "that PostgreSQL runs and DATABASE_URL is right" if settings.ENVIRONMENT.database_url else str(settings.VAR)
        )
        yield Finding(Level.WRONG, "the database is not reached", f"Look at {where}.")
        return
    if strange := unknown(applied_migrations()):
        remedy = "Install that release again, or restore the backup made before."
        yield Finding(Level.WRONG, f"the database is of a newer release ({strange[0]})", remedy)
    elif waiting := waiting_migrations():
        yield Finding(Level.WRONG, f"{len(waiting)} steps to this release are missing", "Run manage.py upgrade.")
    else:
        yield fine(f"database answers ({connection.vendor}, {said}), all migrations applied")
    if connection.vendor == "postgresql" and which("pg_dump") is None:
        yield Finding(Level.WRONG, "pg_dump is not installed", "Install PostgreSQL's client programs: backups need it.")


def broker() -> Iterator[Finding]:
    if not settings.REDIS_URL:
        return
    import redis

    try:
        with redis.Redis.from_url(settings.REDIS_URL, socket_connect_timeout=3, socket_timeout=3) as client:
            client.ping()
        yield fine("Redis answers")
    except redis.exceptions.RedisError as error:
        remedy = "Start it, or mend REDIS_URL. Nothing is lost meanwhile: jobs wait in the database."
        yield Finding(Level.WRONG, f"Redis is not reached ({type(error).__name__})", remedy)


def disk() -> Iterator[Finding]:
    folders = {"data": settings.VAR, "files": Path(settings.MEDIA_ROOT)}
    if settings.BACKUPS is not None:
        folders["backups"] = settings.BACKUPS
    for name, folder in folders.items():
        if not folder.is_dir():
            yield Finding(Level.CARE, f"{name}: {folder} is not there yet", "It is made when first needed.")
            continue
        free = disk_usage(folder).free // MEGABYTE
        what = f"{name}: {free:,} MB free in {folder}"
        if free < FREE_LEAST_MB:
            yield Finding(Level.WRONG, what, "Make room now: uploads and backups will fail.")
        elif free < FREE_LOW_MB:
            yield Finding(Level.CARE, what, "Make room soon, or put the folder on a larger disk.")
        else:
            yield fine(what)
    if (said := ready.storage()) != ready.WELL:
        yield Finding(Level.WRONG, f"files {said}", f"Let this account write to {settings.MEDIA_ROOT}.")
    else:
        yield fine("files can be written")


def permissions() -> Iterator[Finding]:
    """The secret is for this account alone, and nothing of ours can be written by others."""
    secret = settings.VAR / "secret_key"
    if settings.ENVIRONMENT.secret_key is not None:
        yield fine("secret key from the environment")
    elif (mode := stat.S_IMODE(secret.stat().st_mode)) & 0o077:
        yield Finding(Level.WRONG, f"{secret} may be read by others (mode {mode:o})", f"chmod 600 {secret}")
    else:
        yield fine(f"secret key in {secret}, mode {mode:o}")
    named = [settings.VAR, Path(settings.MEDIA_ROOT), settings.VAR / "makerlab.sqlite3", settings.BACKUPS]
    for path in (one for one in named if one is not None and one.exists()):
        mode = stat.S_IMODE(path.stat().st_mode)
        if mode & stat.S_IWOTH:
            yield Finding(Level.WRONG, f"everybody may write to {path} (mode {mode:o})", f"chmod o-w {path}")
        elif mode & stat.S_IROTH and path.is_file():
            yield Finding(Level.CARE, f"everybody on this machine may read {path} (mode {mode:o})", f"chmod 600 {path}")


def worker() -> Iterator[Finding]:
    living, missing = alive(), lanes_without_worker()
    if missing:
        start = "celery worker and beat" if settings.REDIS_URL else "manage.py worker"
        what = f"no worker was heard of within {ALIVE_S:.0f} s for: {', '.join(missing)}"
        yield Finding(Level.WRONG, what, f"Start {start}; parts wait unchecked meanwhile.")
    else:
        yield fine(f"{len(living)} worker{'s' * (len(living) != 1)} alive, every lane served")
    first = Job.objects.filter(state=Job.State.WAITING).order_by("created_at").first()
    if first is not None and timezone.now() - first.created_at > WAITS_LONG:
        minutes = (timezone.now() - first.created_at) // timedelta(minutes=1)
        yield Finding(Level.CARE, f"a job waits for {minutes} minutes", "Look whether the worker hangs; add workers.")


def kernels() -> Iterator[Finding]:
    if is_warm():
        yield fine("kernels of this release are compiled")
    else:
        remedy = "Run manage.py warmup, or let the worker do it at its start; until then the first check takes minutes."
        yield Finding(Level.CARE, "the kernels of this release were not compiled here yet", remedy)


def clock() -> Iterator[Finding]:
    """Against the database server's clock, and against our own past: rows may not come from the future."""
    now = timezone.now()
    if connection.vendor == "postgresql":
        with connection.cursor() as cursor:
            cursor.execute("SELECT clock_timestamp()")
            apart = abs((cursor.fetchone()[0] - timezone.now()).total_seconds())
        if apart > CLOCK_APART_S:
            what = f"this clock and the database server's are {apart:.0f} s apart"
            yield Finding(Level.WRONG, what, "Let both be set by a time server (NTP).")
    newest = Job.objects.order_by("-pk").values_list("created_at", flat=True).first()
    if newest is not None and newest > now + timedelta(seconds=CLOCK_APART_S):
        what = f"the newest job is {(newest - now).total_seconds() / 60:.0f} minutes in the future"
        yield Finding(Level.WRONG, what, "The clock was set back: set it right by a time server (NTP).")
    else:
        yield fine(f"clock says {now:%Y-%m-%d %H:%M} UTC")


def backups() -> Iterator[Finding]:
    if settings.BACKUPS is None:
        remedy = "Set MAKERLAB_BACKUPS to a folder on another disk; the worker then makes one a day."
        yield Finding(Level.CARE, "no daily backup is set up", remedy)
        return
    there = backups_in(settings.BACKUPS)
    if not there:
        yield Finding(
            Level.WRONG, f"no backup in {settings.BACKUPS}", "Run manage.py backup; look at the worker's log."
        )
        return
    age = timezone.now() - there[-1][0]
    what = f"{len(there)} backups, the newest {age // timedelta(hours=1)} hours old"
    if age > LATE:
        yield Finding(Level.WRONG, what, "Run manage.py backup; look at the worker's log why none was made.")
    else:
        yield fine(what)


CHECKS: list[Check] = [environment, database, broker, disk, permissions, worker, kernels, clock, backups]


def examine() -> Iterator[Finding]:
    """Every finding of every check. One that cannot be made is a finding too."""
    for check in CHECKS:
        try:
            yield from check()
        except Exception as error:  # noqa: BLE001 - the next check may still say what the matter is
            yield Finding(
                Level.WRONG, f"{check.__name__} could not be looked at ({told(error)})", "Mend the rest first."
            )
