"""Grams and minutes of arranged plates, by the mesh core in a disposable child, remembered by content."""

from __future__ import annotations

import hashlib
import json
from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from datetime import timedelta
from functools import cached_property
from statistics import median
from typing import Any

from django.utils import timezone

from makerlab.work import child
from printing.models import PlateEstimate
from printing.planner.arrangement import arrangement_of
from printing.planner.beds import why_not_on
from printing.planner.prepared import as_prepared, standing_files
from printing.planner.values import Kind, Laid, Snapshot, WantedCopy, nozzle_of
from telling import as_data, from_data, told

SERVICE = "meshcheck.service:estimate_plate"
AT_ONCE = 2  # children at a time: one a core of a small machine
FORGET_AFTER = timedelta(days=90)
PACES_FROM = 200  # remembered plates, the newest: more would tell nothing new
ESTIMATE_MODEL = 2  # raise it when meshcheck estimates plates otherwise: remembered figures then count no more


@dataclass(frozen=True)
class PlateFigures:
    """What a plate takes. ``kinds`` lists the kinds of printer that can print it; ``barred`` says why others cannot.
    ``unknown``: why there are no figures at all."""

    mass_g: float = 0.0
    durations_s: Mapping[int, float] | None = None
    cool_down_s: float = 0.0
    barred: Mapping[int, str] | None = None
    unknown: str = ""


class Estimates:
    """Estimates of one planning run: from the table where known, else from a child. New ones are kept in ``made``."""

    def __init__(self, snapshot: Snapshot) -> None:
        self.snapshot = snapshot
        self.prepared = standing_files(snapshot.room_id)
        self.made: dict[str, Any] = {}
        self.used: set[str] = set()

    def exact(self, plates: Sequence[Laid], on_progress: Callable[[float], None] | None = None) -> list[PlateFigures]:
        """Figures of each plate, in order: our own, or those of a prepared file that stands for it."""
        figures = self.own(plates, on_progress)
        if not self.prepared:
            return figures
        arrangements = [arrangement_of(laid, self.snapshot.copies) for laid in plates]
        return [
            as_prepared(each, self.prepared.get(arrangement, []))
            for each, arrangement in zip(figures, arrangements, strict=True)
        ]

    def own(self, plates: Sequence[Laid], on_progress: Callable[[float], None] | None = None) -> list[PlateFigures]:
        """Our own figures of each plate, in order, whatever was prepared for it."""
        eligible = [self._eligible(laid) for laid in plates]
        requests = [
            self._request(laid, kinds) if kinds else None
            for laid, (kinds, _barred) in zip(plates, eligible, strict=True)
        ]
        keys = [None if request is None else key_of(request) for request in requests]
        wanted = {key: request for key, request in zip(keys, requests, strict=True) if key and request}
        known = self._known(wanted)
        missing = [(key, wanted[key]["arguments"]) for key in wanted if key not in known]
        with ThreadPoolExecutor(AT_ONCE) as children:
            for done, (key, answer) in enumerate(children.map(_ask, missing)):
                known[key] = answer
                if "unknown" not in answer:
                    self.made[key] = answer
                if on_progress:
                    on_progress((done + 1) / len(missing))
        return [
            _figures(known[key] if key else None, kinds, barred)
            for key, (kinds, barred) in zip(keys, eligible, strict=True)
        ]

    def known_or_rough(self, plates: Sequence[Laid]) -> list[PlateFigures]:
        """Figures of each plate, in order, without asking a child: those remembered, else the rough ones."""
        eligible = [self._eligible(laid) for laid in plates]
        requests = [
            self._request(laid, kinds) if kinds else None
            for laid, (kinds, _barred) in zip(plates, eligible, strict=True)
        ]
        keys = [None if request is None else key_of(request) for request in requests]
        known = self._known({key: None for key in keys if key})
        return [
            _figures(known[key], kinds, barred) if key in known else self._rough(laid)
            for laid, key, (kinds, barred) in zip(plates, keys, eligible, strict=True)
        ]

    @cached_property
    def paces(self) -> dict[int, float]:
        """By kind of printer: how long it prints for a minute of the kind that most printers are, on which the parts
        were estimated. The middle of what the remembered plates show; a kind that none of them shows is missing."""
        usual, shown = usual_kind(self.snapshot), dict[int, list[float]]()
        heat_up_s = {kind.id: float(kind.machine["heat_up_s"]) for kind in self.snapshot.kinds}
        if usual is None or len(heat_up_s) == 1:
            return {}
        newest = PlateEstimate.objects.order_by("-used_at", "pk").values_list("answer__durations_s", flat=True)
        for durations in newest[:PACES_FROM]:
            printing_s = {int(key): float(each) - heat_up_s.get(int(key), 0.0) for key, each in durations.items()}
            if printing_s.get(usual.id, 0.0) > 0:
                for kind_id in heat_up_s.keys() & printing_s.keys():
                    shown.setdefault(kind_id, []).append(printing_s[kind_id] / printing_s[usual.id])
        return {kind_id: median(paces) for kind_id, paces in shown.items()}

    def rough(self, plates: Sequence[Laid]) -> list[PlateFigures]:
        """Quick figures to compare ways of laying out: the sum of the parts' own figures at each kind's pace,
        heated once."""
        return [self._rough(laid) for laid in plates]

    def keep(self) -> None:
        """Write what was computed, note what was used, forget what nobody has used for long."""
        now = timezone.now()
        PlateEstimate.objects.bulk_create(
            [PlateEstimate(key=key, answer=answer, used_at=now) for key, answer in self.made.items()],
            ignore_conflicts=True,
        )
        PlateEstimate.objects.filter(pk__in=self.used).update(used_at=now)
        PlateEstimate.objects.filter(used_at__lt=now - FORGET_AFTER).delete()

    def _eligible(self, laid: Laid) -> tuple[tuple[Kind, ...], dict[int, str]]:
        nozzle_mm = nozzle_of(laid.settings)
        reasons = {kind.id: why_not_on(laid, kind, self.snapshot.copies, nozzle_mm) for kind in self.snapshot.kinds}
        fitting = tuple(kind for kind in self.snapshot.kinds if reasons[kind.id] is None)
        return fitting, {kind_id: why for kind_id, why in reasons.items() if why}

    def _request(self, laid: Laid, kinds: Sequence[Kind]) -> dict[str, Any]:
        copies = [self.snapshot.copies[place.copy_id] for place in laid.places]
        return {
            "arguments": {
                "parts": placed_parts(laid, self.snapshot.copies),
                "settings": json.loads(laid.settings),
                "machines": {str(kind.id): kind.machine for kind in kinds},
            },
            "contents": [copy.source.sha256 for copy in copies],
        }

    def _known(self, wanted: Mapping[str, Any]) -> dict[str, Any]:
        stored = dict(PlateEstimate.objects.filter(pk__in=wanted).values_list("key", "answer"))
        self.used |= set(stored)
        return {**stored, **{key: self.made[key] for key in wanted if key in self.made}}

    def _rough(self, laid: Laid) -> PlateFigures:
        kinds, barred = self._eligible(laid)
        if not kinds:
            return _figures(None, kinds, barred)
        copies = [self.snapshot.copies[place.copy_id] for place in laid.places]
        usual, durations = usual_kind(self.snapshot), {}
        for kind in kinds:
            heat_up_s = float(kind.machine["heat_up_s"])
            measured_s = float((usual or kind).machine["heat_up_s"])  # of it once in each part's own figure
            printing_s = sum(max(60.0, copy.source.duration_s - measured_s) for copy in copies)
            durations[kind.id] = heat_up_s + self.paces.get(kind.id, 1.0) * printing_s
        return PlateFigures(
            mass_g=sum(copy.source.mass_g for copy in copies),
            durations_s=durations,
            cool_down_s=max(float(kind.machine["cool_down_s"]) for kind in kinds),
            barred=barred,
        )


def usual_kind(snapshot: Snapshot) -> Kind | None:
    """The kind that most printers are: parts are estimated on its machine (printing.queries.room_for_check)."""
    counted = Counter(printer.kind.id for printer in snapshot.printers)
    most = counted.most_common(1)[0][0] if counted else None
    return next((kind for kind in snapshot.kinds if kind.id == most), None)


def placed_parts(laid: Laid, copies: Mapping[int, WantedCopy]) -> list[dict[str, Any]]:
    """The plate's copies as the mesh core takes them."""
    return [
        {
            "path": copies[place.copy_id].source.path,
            "name": copies[place.copy_id].source.name,
            "unit": copies[place.copy_id].source.unit,
            "pose": copies[place.copy_id].source.pose,
            "x_mm": place.x_mm,
            "y_mm": place.y_mm,
            "turn_deg": place.turn_deg,
        }
        for place in laid.places
    ]


def key_of(request: Mapping[str, Any]) -> str:
    """sha256 of what the estimate depends on: contents and places, settings, machines; not of paths and names."""
    arguments = request["arguments"]
    parts = [
        [
            content,
            part["unit"],
            part["pose"],
            round(part["x_mm"], 4),
            round(part["y_mm"], 4),
            round(part["turn_deg"], 4),
        ]
        for content, part in zip(request["contents"], arguments["parts"], strict=True)
    ]
    content = json.dumps([ESTIMATE_MODEL, parts, arguments["settings"], arguments["machines"]], sort_keys=True)
    return hashlib.sha256(content.encode()).hexdigest()


def _ask(question: tuple[str, dict[str, Any]]) -> tuple[str, dict[str, Any]]:
    """Ask a child. Touches no database: it runs in a thread."""
    key, arguments = question
    try:
        answer = child.run(SERVICE, arguments)
    except FileNotFoundError as error:
        gone = next((part["name"] for part in arguments["parts"] if part["path"] == error.filename), "of a part")
        return key, _unknown(told("The stored file {name} is missing.", name=gone))
    except child.ChildFailed:
        return key, _unknown(told("Its grams and minutes could not be computed."))
    if "unknown" not in answer and not {"mass_g", "durations_s", "cool_down_s"} <= answer.keys():
        return key, _unknown(told("Its grams and minutes could not be computed."))
    return key, answer


def _unknown(because: str) -> dict[str, Any]:
    """As the measuring service answers when nobody can tell."""
    return {"unknown": because, "said": {"unknown": as_data(because)}}


def _why_unknown(answer: Mapping[str, Any]) -> str:
    """With its template, if the answer was kept with it."""
    return from_data(answer.get("said", {}).get("unknown", str(answer["unknown"])))


def _figures(answer: Mapping[str, Any] | None, kinds: Sequence[Kind], barred: Mapping[int, str]) -> PlateFigures:
    if not kinds:
        return PlateFigures(barred=barred, unknown=told("No printer of the room can print it as it is arranged."))
    assert answer is not None, "every plate with a printer was asked for"
    if "unknown" in answer:
        return PlateFigures(barred=barred, unknown=_why_unknown(answer))
    return PlateFigures(
        mass_g=float(answer["mass_g"]),
        durations_s={kind.id: float(answer["durations_s"][str(kind.id)]) for kind in kinds},
        cool_down_s=max(float(answer["cool_down_s"][str(kind.id)]) for kind in kinds),
        barred=barred,
    )
