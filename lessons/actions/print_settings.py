"""Say how a kit part is printed, everywhere or in one class."""

from __future__ import annotations

from typing import Any

from django.db import transaction

from lessons import permissions, trying
from lessons.jobs import KIND
from lessons.models import Assignment, KitPart
from lessons.print_settings import Values, fingerprint, in_force, own_changes, values_beneath
from lessons.signals import settings_changed
from makerlab.accounts.models import User
from makerlab.audit.models import record
from makerlab.work.actions import enqueue


class ChangedMeanwhile(Exception):
    """Somebody else changed the same settings after this person's page was made."""


class ClashesInClass(ValueError):
    """What a class changed for itself cannot work with the kit part's new settings."""

    def __init__(self, assignment: Assignment, why: Exception) -> None:
        super().__init__(str(why))
        self.assignment = assignment


@transaction.atomic
def set_print_settings(
    user: User, kit_part: KitPart, assignment: Assignment | None, chosen: Values, seen: str = ""
) -> bool:
    """Print the part with these settings from now on: ``chosen`` holds the fields that somebody filled in; those equal
    to what lies beneath (the defaults, or the kit part's for a class) are not kept as changes.

    ``seen``: fingerprint of the changes the person looked at. Returns whether anything changed. Raises
    PermissionDenied, ChangedMeanwhile, ClashesInClass, and ValueError or TypeError for settings that cannot work
    together.
    """
    permissions.check_can_set_print(user, kit_part, assignment)
    kit_part = KitPart.objects.select_for_update(no_key=True).get(pk=kit_part.pk)
    if assignment is not None:
        assignment = (
            Assignment.objects.select_for_update(no_key=True).select_related("school_class").get(pk=assignment.pk)
        )
    before = own_changes(kit_part, assignment)
    if seen and seen != fingerprint(before):
        raise ChangedMeanwhile
    beneath = values_beneath(kit_part, assignment)
    changes = {name: value for name, value in chosen.items() if beneath[name] != value}
    if assignment is None:
        changes["material"] = chosen.get("material", beneath["material"])
    if changes == before:
        return False
    _write(kit_part, assignment, changes)
    settings = in_force(kit_part, assignment)
    if assignment is None:
        _check_classes(kit_part)
    whom = assignment or kit_part
    record(kit_part.plan.school_id, user, "set_print_settings", whom, part=kit_part.code, before=before, after=changes)
    if assignment is None and kit_part.file:
        enqueue(KIND, kit_part.pk, kit_part.plan.school_id)
    trying.ask(kit_part, settings)
    settings_changed.send(sender=KitPart, kit_part=kit_part, assignment=assignment, user=user)
    return True


def _write(kit_part: KitPart, assignment: Assignment | None, changes: dict[str, Any]) -> None:
    if assignment is None:
        kit_part.material = changes["material"]
        kit_part.settings = {name: value for name, value in changes.items() if name != "material"}
        kit_part.save(update_fields=["material", "settings"])
        return
    others = {code: values for code, values in assignment.print_settings.items() if code != kit_part.code}
    assignment.print_settings = {**others, **({kit_part.code: changes} if changes else {})}
    assignment.save(update_fields=["print_settings"])


def _check_classes(kit_part: KitPart) -> None:
    """A class that changed something for itself must still have settings that work together."""
    for assignment in kit_part.plan.assignments.select_related("school_class", "plan"):
        if kit_part.code in assignment.print_settings:
            try:
                in_force(kit_part, assignment)
            except (ValueError, TypeError) as why:
                raise ClashesInClass(assignment, why) from why


@transaction.atomic
def try_print_settings(user: User, kit_part: KitPart, assignment: Assignment | None, chosen: Values) -> str:
    """Have grams and minutes worked out for these settings and for those in force, changing neither. Returns the key
    of the question; see ``lessons.trying``. Raises PermissionDenied, and ValueError or TypeError as above."""
    permissions.check_can_set_print(user, kit_part, assignment)
    trying.ask(kit_part, in_force(kit_part, assignment))
    return trying.ask(kit_part, trying.settings_from({**values_beneath(kit_part, assignment), **chosen}))
