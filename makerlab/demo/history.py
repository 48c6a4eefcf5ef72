"""The invented room's past: runs of a club that is over, so that printers have something to learn from."""

from __future__ import annotations

import json
from collections import defaultdict
from collections.abc import Callable
from datetime import date, datetime, time, timedelta
from decimal import Decimal
from typing import Any

from django.utils import timezone

from lessons.models import Assignment, KitPart, LessonPlan, Meeting, SchoolClass, Team
from makerlab.accounts.models import User
from makerlab.demo import fixtures
from makerlab.demo.past_lab import write_lab
from printing.models import Plate, PrintCopy, Printer, PrintRequest, Room, Run, RunCopy
from printing.states import CopyState, PlateState

CLUB, CODE = "Cart club (over)", "MOSS-21"
TEAMS = ((31, "Snails"), (32, "Wasps"), (33, "Gudgeons"), (34, "Linnets"))
PRICE_PER_KG = Decimal("21.00")
Moment = Callable[[date, time], datetime]


class History:
    """Writes the past of a room. ``weekday`` and ``moment`` are the loader's own reckoning of days and times."""

    def __init__(self, room: Room, plan: LessonPlan, teacher: User, technician: User) -> None:
        self.room, self.plan, self.teacher, self.technician = room, plan, teacher, technician
        self.printers = {printer.name: printer for printer in Printer.objects.filter(room=room).select_related("kind")}
        self.parts = {part.code: part for part in KitPart.objects.filter(plan=plan)}
        self.lost: dict[str, list[PrintCopy]] = defaultdict(list)  # to be printed again, by part
        self.numbers: dict[str, int] = defaultdict(int)

    def write(self, weekday: Callable[[int], date], moment: Moment) -> int:
        """All past runs with their plates and copies; returns how many."""
        entries = json.loads((fixtures.FOLDER / "runs.json").read_text("utf-8"))["runs"]
        days = {entry["weekdays_ahead"]: weekday(entry["weekdays_ahead"]) for entry in entries}
        self._club(moment(weekday(-1), time(15, 10)))
        starts = [moment(days[entry["weekdays_ahead"]], time.fromisoformat(entry["time"])) for entry in entries]
        plates = [self._plate(n, entry, at) for n, (entry, at) in enumerate(zip(entries, starts, strict=True), 1)]
        Plate.objects.bulk_create(plates)
        runs = [self._run(plate, entry) for plate, entry in zip(plates, entries, strict=True)]
        results = [result for run, entry in zip(runs, entries, strict=True) for result in self._results(run, entry)]
        for copy in (copy for waiting in self.lost.values() for copy in waiting):
            copy.state, copy.plate, copy.in_tray_at = CopyState.CANCELLED, None, None  # nobody waits for it any more
        Run.objects.bulk_create(runs)
        PrintCopy.objects.bulk_create({id(result.copy): result.copy for result in results}.values())
        RunCopy.objects.bulk_create(results)
        return len(runs)

    def _club(self, last: datetime) -> None:
        club = SchoolClass.objects.create(
            school=self.room.school, name=CLUB, code=CODE, joining_open=False, archived_at=timezone.now()
        )
        club.teachers.add(self.teacher)
        teams = [Team.objects.create(school_class=club, number=n, name=name, tray=n) for n, name in TEAMS]
        meeting = Meeting.objects.create(
            school_class=club, starts_at=last, ends_at=last + timedelta(minutes=50), period="", purpose="last meeting"
        )
        assignment = Assignment.objects.create(
            plan=self.plan, school_class=club, meeting=meeting, upload_by=last - timedelta(days=7),
            created_by=self.teacher,
        )  # fmt: skip
        write_lab(assignment, self.teacher)
        self.requests = {
            (code, team.number): PrintRequest.objects.create(
                room=self.room,
                assignment=assignment,
                kit_part=part,
                team=team,
                rank=0,
            )
            for code, part in self.parts.items()
            for team in teams
        }

    def _plate(self, number: int, entry: dict[str, Any], started: datetime) -> Plate:
        printer, part = self.printers[entry["printer"]], self.parts[entry["part"]]
        durations = {str(printer.pk): entry["estimate_s"]}
        return Plate(
            room=self.room, number=number, state=PlateState.CLEARED, material=part.material, colour=part.colour,
            settings=part.settings, bed_width_mm=printer.kind.width_mm, bed_depth_mm=printer.kind.depth_mm,
            bed_round=printer.kind.bed == printer.kind.Bed.ROUND, mass_g=entry["estimate_g"], durations_s=durations,
            estimates_s=durations, printer=printer, setup_at=started, starts_at=started,
            ends_at=started + timedelta(seconds=entry["ended_s"] or entry["estimate_s"]),
            cleared_at=started + timedelta(seconds=entry["cleared_s"]), held=True,
        )  # fmt: skip

    def _run(self, plate: Plate, entry: dict[str, Any]) -> Run:
        started, ended = plate.starts_at, entry["ended_s"]
        assert started is not None and plate.cleared_at is not None  # noqa: PT018 - the plates of the past have both
        return Run(
            plate=plate, printer=self.printers[entry["printer"]], outcome=entry["outcome"], started_at=started,
            expected_end_at=started + timedelta(seconds=entry["estimate_s"]), ended_at=plate.cleared_at,
            started_by=self.technician, cleared_by=self.technician, estimate_s=entry["estimate_s"],
            estimate_g=entry["estimate_g"], used_g=entry["used_g"], price_per_kg=PRICE_PER_KG,
            print_ended_at=None if ended is None else started + timedelta(seconds=ended),
            weighed_g=entry["weighed_g"], note="drawn for the demo",
        )  # fmt: skip

    def _results(self, run: Run, entry: dict[str, Any]) -> list[RunCopy]:
        """What became of each copy: lost ones are printed again by a later run of that part."""
        waiting, found = self.lost[entry["part"]], []
        copies = [waiting.pop(0) if waiting else self._copy(entry["part"]) for _ in range(entry["copies"])]
        for place, copy in enumerate(copies):
            reason = entry["lost"].get(str(place), "")
            if reason:
                waiting.append(copy)
                copy.tries += 1
            copy.state, copy.plate, copy.place, copy.in_tray_at = CopyState.IN_TRAY, run.plate, place + 1, run.ended_at
            found.append(RunCopy(run=run, copy=copy, good=not reason, reason=reason))
        return found

    def _copy(self, code: str) -> PrintCopy:
        """A new copy, for each team in turn."""
        team = TEAMS[self.numbers[code] % len(TEAMS)][0]
        request = self.requests[code, team]
        self.numbers[code] += 1
        return PrintCopy(request=request, number=self.numbers[code])
