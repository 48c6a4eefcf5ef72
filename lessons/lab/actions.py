"""What people do on lab day: enter and correct readings, open and freeze the board, argue, mark.

A reading carries an id made on the device: the same one sent twice is stored once. Two who enter the same trial at
once both count; the later one becomes the next trial, so nothing is overwritten.
"""

from __future__ import annotations

import math
import uuid
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from django.core.exceptions import PermissionDenied
from django.db import IntegrityError, transaction
from django.db.models import F
from django.utils import timezone
from django.utils.translation import gettext as _

from lessons.lab import queries
from lessons.lab.claims import Says
from lessons.lab.experiment import TRIALS_MOST, Experiment
from lessons.models import Argument, Assignment, LabBoard, Mark, Reading, Team
from makerlab.accounts.models import User
from makerlab.audit.models import record

NOTE_MAX, TEXT_MAX, COMMENT_MAX = 200, 4000, 1000
VALUE_MOST, VERSION_MOST, PINS_MOST = 1e9, 999, 9
CLOCK_AHEAD = timedelta(minutes=5)  # a device's clock may be wrong; the server believes it no further than this
CLOCK_BEHIND = timedelta(days=2)


class ReadingRefused(ValueError):
    """This reading cannot be taken as it is; the message says what to do. ``field`` is the one to mend."""

    def __init__(self, message: str, field: str = "") -> None:
        super().__init__(message)
        self.field = field


class ChangedMeanwhile(ValueError):
    """Somebody else saved in between; ``current`` is what they saved."""

    def __init__(self, current: Argument) -> None:
        super().__init__(_("Somebody of your team saved in between. Your text is still here; join the two, then save."))
        self.current = current


@dataclass(frozen=True, slots=True)
class NewReading:
    """What a device sends. ``measured`` None with a note: the run gave no value."""

    entry: uuid.UUID
    design: str
    changed: float
    trial: int
    measured: float | None
    changed_measured: float | None = None
    note: str = ""
    left_out: bool = False
    stopwatch: bool = False
    measured_at: datetime | None = None
    replaces: int | None = None
    version: int | None = None


def check_team(user: User, assignment: Assignment, team: Team) -> None:
    """Students enter for their own team, the class's teachers for any of it. Raises PermissionDenied."""
    own_class = team.school_class_id == assignment.school_class_id
    if user.is_student:
        mine = queries.team_of(user, assignment)
        if not own_class or mine is None or mine.pk != team.pk:
            raise PermissionDenied
    elif not own_class or not Assignment.objects.editable_by(user).filter(pk=assignment.pk).exists():
        raise PermissionDenied


def enter(user: User, assignment: Assignment, team: Team, experiment: Experiment, new: NewReading) -> Reading:
    """Store a reading, once. The same ``entry`` again gives the reading stored the first time.

    Raises PermissionDenied or ReadingRefused.
    """
    check_team(user, assignment, team)
    _check(new, experiment)
    with transaction.atomic():
        Team.objects.select_for_update(no_key=True).get(pk=team.pk)  # two of a team at once get two trials
        stored = Reading.objects.filter(entry=new.entry).first()
        if stored is not None:
            return _same_team(stored, assignment, team)
        board = _board_for_update(assignment)
        if not board.is_open and user.is_student:
            raise ReadingRefused(_("Your teacher has closed the entries. Your reading is kept on this device."))
        reading = Reading(
            assignment=assignment,
            team=team,
            entry=new.entry,
            design=new.design,
            version=new.version if new.design == experiment.designs[-1] else None,
            changed=new.changed,
            changed_measured=new.changed_measured,
            trial=new.trial,
            measured=new.measured,
            note=new.note.strip()[:NOTE_MAX],
            is_left_out=new.left_out,
            stopwatch=new.stopwatch,
            entered_by=user,
            measured_at=_believed(new.measured_at),
        )
        if new.replaces is not None:
            reading.replaces = _replaced(assignment, team, new)
            reading.trial, reading.version = reading.replaces.trial, reading.replaces.version
        else:
            reading.trial = _free_trial(reading)
        try:
            with transaction.atomic():
                reading.save()
        except IntegrityError:  # the same entry through another connection, a moment earlier
            return _same_team(Reading.objects.get(entry=new.entry), assignment, team)
        _raise_revision(board)
        verb = "correct reading" if reading.replaces_id else "enter reading"
        record(assignment.school_class.school_id, user, verb, reading, design=new.design, changed=new.changed)
    return reading


def _same_team(stored: Reading, assignment: Assignment, team: Team) -> Reading:
    if stored.team_id != team.pk or stored.assignment_id != assignment.pk:
        raise ReadingRefused(_("This reading was entered for another team already."))
    return stored


def _check(new: NewReading, experiment: Experiment) -> None:
    if new.design not in experiment.designs:
        raise ReadingRefused(_("This experiment has no design of that name."), "design")
    if new.changed not in experiment.values:
        raise ReadingRefused(
            _("%(name)s is measured at %(values)s %(unit)s only.")
            % {
                "name": experiment.measured.name.capitalize(),
                "values": ", ".join(f"{value:g}" for value in experiment.values),
                "unit": experiment.changed.unit,
            },
            "changed",
        )
    if not 1 <= new.trial <= TRIALS_MOST:
        raise ReadingRefused(_("There can be %(most)d trials at most.") % {"most": TRIALS_MOST}, "trial")
    if new.version is not None and not 1 <= new.version <= VERSION_MOST:
        raise ReadingRefused(_("There is no version of that number."), "version")
    if new.measured is None and not new.note.strip():
        raise ReadingRefused(_("Say in a few words why this run gave no value."), "note")
    if new.left_out and not new.note.strip():
        raise ReadingRefused(_("Say in a few words why this run is left out."), "note")
    for field, value in (("measured", new.measured), ("changed_measured", new.changed_measured)):
        if value is not None and not (math.isfinite(value) and abs(value) <= VALUE_MOST):
            raise ReadingRefused(_("Write a number."), field)
    if experiment.is_timed and new.measured is not None and new.measured <= 0:
        raise ReadingRefused(_("A time is above 0 s."), "measured")
    if new.changed_measured is not None and new.changed_measured < 0:
        raise ReadingRefused(_("This cannot be below 0."), "changed_measured")


def _replaced(assignment: Assignment, team: Team, new: NewReading) -> Reading:
    """The reading a correction stands for: the newest of its chain."""
    old = Reading.objects.filter(pk=new.replaces or 0, assignment=assignment, team=team).first()
    if old is None or (old.design, old.changed) != (new.design, new.changed):
        raise ReadingRefused(_("The reading to correct is not there any more. Load the page again."))
    newest: Reading = old
    while (newer := Reading.objects.filter(replaces=newest).first()) is not None:
        newest = newer
    return newest


def _free_trial(reading: Reading) -> int:
    """The wanted trial, or the next free one when somebody of the team was quicker."""
    taken = set(
        Reading.objects.filter(
            assignment=reading.assignment,
            team=reading.team,
            design=reading.design,
            version=reading.version,
            changed=reading.changed,
        ).values_list("trial", flat=True)
    )
    trial = reading.trial
    while trial in taken:
        trial += 1
    if trial > TRIALS_MOST:
        raise ReadingRefused(_("There are %(most)d trials already.") % {"most": TRIALS_MOST}, "trial")
    return trial


def _believed(measured_at: datetime | None) -> datetime:
    now = timezone.now()
    if measured_at is None or timezone.is_naive(measured_at):
        return now
    return measured_at if now - CLOCK_BEHIND <= measured_at <= now + CLOCK_AHEAD else now


def _board_for_update(assignment: Assignment) -> LabBoard:
    LabBoard.objects.get_or_create(assignment=assignment)
    return LabBoard.objects.select_for_update(no_key=True).get(assignment=assignment)


def _raise_revision(board: LabBoard) -> None:
    LabBoard.objects.filter(pk=board.pk).update(revision=F("revision") + 1)


def raise_revision(assignment: Assignment) -> None:
    """Tell the pages that follow the board that something else than a reading has changed."""
    _raise_revision(_board_for_update(assignment))


def _check_teaches(user: User, assignment: Assignment) -> None:
    if user.is_student or not Assignment.objects.editable_by(user).filter(pk=assignment.pk).exists():
        raise PermissionDenied


def set_board(user: User, assignment: Assignment, **changes: Any) -> LabBoard:
    """Open or close entries (``is_open``), freeze or let run (``frozen``), write the notes (``notes``)."""
    _check_teaches(user, assignment)
    with transaction.atomic():
        board = _board_for_update(assignment)
        if "is_open" in changes:
            board.is_open = bool(changes["is_open"])
        if "frozen" in changes:
            _freeze(assignment, board, changes["frozen"])
        if "notes" in changes:
            board.notes = str(changes["notes"])[:TEXT_MAX]
        board.revision += 1
        board.save()
        record(assignment.school_class.school_id, user, "set lab board", board, changed=sorted(changes))
    return board


def _freeze(assignment: Assignment, board: LabBoard, frozen: bool) -> None:
    """Freezing a frozen board changes nothing. Readings are never changed and tell when they were entered; a claim is
    written over, so what teams claim is kept as it stands."""
    if frozen and board.frozen_at is None:
        rows = Argument.objects.filter(assignment=assignment).order_by("team__number")
        board.claims = [{"team": row.team_id, "says": row.says, "claim": row.claim} for row in rows]
        board.frozen_at = timezone.now()
    if not frozen:
        board.frozen_at, board.claims = None, []


def pin(user: User, assignment: Assignment, experiment: Experiment, team: Team, value: float, words: str) -> LabBoard:
    """Pin a note to a team's point at one value. Raises PermissionDenied, or ReadingRefused with what to mend."""
    _check_teaches(user, assignment)
    if team.school_class_id != assignment.school_class_id or value not in experiment.values:
        raise PermissionDenied
    if not words.strip():
        raise ReadingRefused(_("Write what the note should say."), "words")
    with transaction.atomic():
        board = _board_for_update(assignment)
        if len(board.pins) >= PINS_MOST:
            raise ReadingRefused(_("Take a pinned note down first; nine are enough."), "words")
        board.pins = [*board.pins, {"team": team.pk, "value": value, "words": words.strip()[:NOTE_MAX]}]
        _save_pins(user, assignment, board)
    return board


def unpin(user: User, assignment: Assignment, number: int) -> LabBoard:
    """Take the note of that number down, 1 being the first; a number that is not there changes nothing."""
    _check_teaches(user, assignment)
    with transaction.atomic():
        board = _board_for_update(assignment)
        board.pins = [each for at, each in enumerate(board.pins, start=1) if at != number]
        _save_pins(user, assignment, board)
    return board


def _save_pins(user: User, assignment: Assignment, board: LabBoard) -> None:
    board.revision += 1
    board.save(update_fields=["pins", "revision"])
    record(assignment.school_class.school_id, user, "pin notes", board, pins=len(board.pins))


def save_argument(
    user: User, assignment: Assignment, team: Team, revision: int, *, claim: str, evidence: str, reasoning: str,
    says: str = "",
) -> Argument:  # fmt: skip
    """Save a team's claim, evidence and reasoning; ``says`` that is no claim we know is left empty.

    Raises ChangedMeanwhile when ``revision`` is not the newest.
    """
    check_team(user, assignment, team)
    with transaction.atomic():
        Team.objects.select_for_update(no_key=True).get(pk=team.pk)
        argument, _made = Argument.objects.get_or_create(assignment=assignment, team=team)
        if argument.revision != revision:
            raise ChangedMeanwhile(argument)
        argument.claim, argument.evidence, argument.reasoning = (
            text.strip()[:TEXT_MAX] for text in (claim, evidence, reasoning)
        )
        argument.says = says if says in {each.value for each in Says} else ""
        argument.revision += 1
        argument.saved_by = user
        argument.save()
        raise_revision(assignment)  # the board shows what teams claim
        record(assignment.school_class.school_id, user, "save argument", argument)
    return argument


def give_mark(
    user: User, assignment: Assignment, team: Team, row: int, level: int | None, comment: str = ""
) -> Mark | None:
    """Give a team a level, 1 to 4, in a row of the plan's rubric; None takes the mark back."""
    _check_teaches(user, assignment)
    rubric = assignment.plan.content.get("rubric", [])
    if team.school_class_id != assignment.school_class_id or not 0 <= row < len(rubric):
        raise PermissionDenied
    with transaction.atomic():
        if level is None:
            Mark.objects.filter(assignment=assignment, team=team, row=row).delete()
            record(assignment.school_class.school_id, user, "take mark back", team, row=row)
            return None
        if level not in (1, 2, 3, 4):
            raise ReadingRefused(_("A level is 1, 2, 3 or 4."), "level")
        mark, _made = Mark.objects.update_or_create(
            assignment=assignment,
            team=team,
            row=row,
            defaults={
                "row_name": str(rubric[row].get("row", ""))[:120],
                "level": level,
                "comment": comment.strip()[:COMMENT_MAX],
                "marked_by": user,
            },
        )
        record(assignment.school_class.school_id, user, "give mark", mark, level=level)
    return mark
