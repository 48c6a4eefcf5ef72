"""Verbs of what-ifs: try, plan once more, discard. None touches the room; to apply is ``printing.whatif.apply``."""

from __future__ import annotations

from django.db import transaction
from django.utils.translation import gettext as _

from makerlab.accounts.models import User
from makerlab.audit.models import record
from makerlab.work.actions import SOMEBODY_WAITS, enqueue
from printing import permissions
from printing.models import Room, WhatIf
from printing.states import NotAllowedNow
from printing.whatif.changes import Changes

WHAT_IF = "what-if"
KEPT = 10  # of one person; the oldest go


@transaction.atomic
def try_what_if(room: Room, actor: User, changes: Changes) -> WhatIf:
    """Have the situation planned. Raises NotAllowedNow when nothing is different in it."""
    permissions.check_can_see_room(actor, room)
    if changes.is_empty:
        raise NotAllowedNow(_("Change something first: nothing is different from how it is."))
    row = WhatIf.objects.create(room=room, made_by=actor, changes=changes.to_json())
    mine = WhatIf.objects.filter(room=room, made_by=actor)
    mine.exclude(pk__in=list(mine.values_list("pk", flat=True)[:KEPT])).delete()
    record(room.school_id, actor, "try_what_if", row, changes=row.changes)
    enqueue(WHAT_IF, row.pk, room.school_id, priority=SOMEBODY_WAITS)
    return row


@transaction.atomic
def discard_what_if(what_if: WhatIf, actor: User) -> None:
    """Forget it. Raises NotAllowedNow when it is gone already."""
    permissions.check_can_try(actor, what_if)
    record(what_if.room.school_id, actor, "discard_what_if", what_if)
    gone, _rows = WhatIf.objects.filter(pk=what_if.pk).delete()
    if not gone:
        raise NotAllowedNow(_("It was discarded already."))


@transaction.atomic
def consider_again(what_if: WhatIf, actor: User) -> None:
    """Plan it once more: the room has changed since."""
    permissions.check_can_try(actor, what_if)
    if what_if.answer.get("applied_at"):
        raise NotAllowedNow(_("This was applied already."))
    WhatIf.objects.filter(pk=what_if.pk).update(answer={}, error="")
    enqueue(WHAT_IF, what_if.pk, what_if.room.school_id, priority=SOMEBODY_WAITS)
