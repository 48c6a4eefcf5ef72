"""What is done for a district: in the browser by who runs it, by commands by whoever has the server. Every event stands
in the records of the school it is about."""

from __future__ import annotations

import math

from django.db import transaction
from django.utils.translation import gettext as _

from lessons.stored import lock_school, store_max_bytes, stored_by
from makerlab.accounts import people
from makerlab.accounts.models import School, User
from makerlab.accounts.people import NotPossible
from makerlab.audit.models import record
from makerlab.district.permissions import check_can_run_district
from makerlab.uploads import MEGABYTE

STORE_MOST_MB = 2_000_000


def new_school(actor: User, name: str, time_zone: str, username: str, display_name: str) -> tuple[School, User, str]:
    """A school with its first administrator and the password, which is kept nowhere else. Raises NotPossible."""
    check_can_run_district(actor)
    return people.new_school(name, time_zone, username, display_name, actor)


@transaction.atomic
def set_store(actor: User | None, school: School, megabytes: int | None) -> None:
    """What the files of a school may have together from now on; None: as all schools. ``actor`` None: a command. Raises
    NotPossible when the number cannot be, and when more is stored already."""
    if actor is not None:
        check_can_run_district(actor)
    if megabytes is not None and not 1 <= megabytes <= STORE_MOST_MB:
        raise NotPossible(_("A school may store 1 to 2,000,000 MB."), "store_max_mb")
    lock_school(school.pk)
    school.refresh_from_db(fields=["store_max_mb"])
    before, school.store_max_mb = school.store_max_mb, megabytes
    stored, most = stored_by(school.pk), store_max_bytes(school)
    if stored > most:
        school.store_max_mb = before
        raise NotPossible(
            _("%(stored)d MB are stored there already, and %(most)d MB would be allowed. Nothing was changed.")
            % {"stored": math.ceil(stored / MEGABYTE), "most": most // MEGABYTE},
            "store_max_mb",
        )
    if before == megabytes:
        return
    school.save(update_fields=["store_max_mb"])
    record(school.pk, actor, "store_max_mb", school, before=before, after=megabytes)


@transaction.atomic
def give_by_server(person: User) -> None:
    """Whoever has the server lets an administrator run the district. Raises NotPossible."""
    if not person.is_administrator:
        raise NotPossible(f"{person} is no administrator. Only an administrator can run the district.")
    if not person.is_active:
        raise NotPossible(f"{person} is locked out. Let them in again first.")
    if person.password_given_at is not None and not person.given_password_is_over():
        raise NotPossible(f"{person}'s password is still on paper. Let them sign in and choose their own first.")
    _set(person, True, "give_district")


@transaction.atomic
def take_by_server(person: User) -> None:
    """Whoever has the server takes the district away again. Raises NotPossible."""
    _set(person, False, "take_district")


def _set(person: User, runs: bool, verb: str) -> None:
    if not User.objects.filter(pk=person.pk).exclude(runs_district=runs).update(runs_district=runs):
        raise NotPossible(_("That is so already for %(person)s.") % {"person": person})
    record(person.school_id, None, verb, person, by="server")
