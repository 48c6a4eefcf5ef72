"""One part of a kit as a lesson package has it, read through the forms its page in the editor uses."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, fields
from typing import Any

from django import forms
from django.utils.translation import gettext as _

from lessons.models import KitPart
from lessons.plan_forms import GaugeForm, PartForm
from lessons.plans.kit import GAUGE_FIELDS, OWN, no_gauge
from makerlab.uploads import clean_name
from meshcheck.settings import PrintSettings
from meshcheck.types import Unit

TEXTS = ("code", "name", "task", "material", "colour", "file", "file_name", "sha256", "unit")
KNOWN = frozenset({*OWN, "code", "settings", "file", "file_name", "sha256", "unit", "pose", "gauge"})
_CODE = re.compile(r"[-a-zA-Z0-9_]{1,40}")
_SHA256 = re.compile(r"[0-9a-f]{64}")
_DEFAULTS = {each.name: each.default for each in fields(PrintSettings)}
_TURN_OFF = 1e-9  # as meshcheck.plating.rotation_of has it


@dataclass
class PartIn:
    """A part to bring in. ``values``: fields of KitPart; ``gauge``: fields of PartGauge or None; ``place``: its file in
    the package; ``mesh``: that file's bytes."""

    values: dict[str, Any]
    gauge: dict[str, Any] | None
    place: str
    mesh: bytes = b""


def read_part(row: Any) -> tuple[PartIn | None, list[str], list[str]]:
    """The part, what is wrong with it, and notes of what is left out. None where nothing more can be said of it."""
    if not isinstance(row, Mapping):
        return None, [_("it must be a table of fields.")], []
    faults = [
        _("%(field)s: this must be text.") % {"field": name} for name in TEXTS if not isinstance(row.get(name, ""), str)
    ]
    if type(row.get("redesignable", False)) is not bool:
        faults.append(_("redesignable: this is true or false."))
    if faults:
        return None, faults, []
    values = {**_own(row, faults), **_file(row, faults)}
    values["settings"] = _settings(row, values, faults)
    values["pose"] = _pose(row.get("pose"), faults)
    gauge = _gauge(row.get("gauge"), faults)
    notes = [_("not known here, left out: %(what)s") % {"what": str(k)[:60]} for k in sorted(row) if k not in KNOWN]
    return PartIn(values, gauge, row.get("file", "")), faults, notes


def _own(row: Mapping[str, Any], faults: list[str]) -> dict[str, Any]:
    data = {name: str(row[name]) for name in OWN if name in row and name != "redesignable"}
    if row.get("redesignable"):
        data["redesignable"] = "on"
    form = PartForm(data, part=KitPart())
    faults += _form_faults(form)
    return dict(form.cleaned_data)


def _form_faults(form: forms.Form) -> list[str]:
    told = []
    for name, errors in form.errors.items():
        label = form.fields[name].label if name in form.fields else name
        told += [f"{label}: {error}" for error in errors]
    return told


def _file(row: Mapping[str, Any], faults: list[str]) -> dict[str, Any]:
    code, sha256, unit = row.get("code", ""), row.get("sha256", ""), row.get("unit", "")
    if not _CODE.fullmatch(code):
        faults.append(_("code: 1 to 40 letters a to z, digits, dashes."))
    if not _SHA256.fullmatch(sha256):
        faults.append(_("sha256: 64 digits of base 16 in small letters."))
    if unit and unit not in tuple(Unit):
        known = ", ".join(Unit)
        faults.append(_("unit: “%(unit)s” is not one of %(known)s.") % {"unit": unit[:20], "known": known})
    name = clean_name(row.get("file_name") or row.get("file", ""))
    return {"code": code, "sha256": sha256, "unit": unit, "file_name": name}


def _settings(row: Mapping[str, Any], values: Mapping[str, Any], faults: list[str]) -> dict[str, Any]:
    """Print settings that differ from the classroom's, held against what works together."""
    raw = row.get("settings", {})
    if not isinstance(raw, Mapping):
        faults.append(_("settings: this must be a table of fields."))
        return {}
    wrong = [_setting_fault(name, value) for name, value in raw.items()]
    if any(wrong):
        faults += [fault for fault in wrong if fault]
        return {}
    try:
        PrintSettings(**{**raw, "material": values.get("material", "PLA")})
    except (ValueError, TypeError, OverflowError) as error:
        faults.append(_("settings: %(why)s.") % {"why": error})
    return dict(raw)


def _setting_fault(name: str, value: Any) -> str:
    default = _DEFAULTS.get(name, ...)
    if default is ... or name == "material":
        return _("settings: “%(name)s” is no print setting.") % {"name": str(name)[:40]}
    if isinstance(default, str):
        fits = isinstance(value, str)
    elif isinstance(default, int):
        fits = type(value) is int
    else:
        fits = type(value) in (int, float) or (default is None and value is None)
    return "" if fits else _("settings, %(name)s: this value cannot be.") % {"name": name}


def _pose(raw: Any, faults: list[str]) -> list[list[float]] | None:
    """A rotation of three rows of three numbers, each row 1 long and square on the others, that mirrors nothing."""
    if raw is None:
        return None
    if _is_three(raw) and all(_is_three(line) for line in raw):
        rows = [[x for x in line if type(x) in (int, float) and abs(x) <= 2] for line in raw]
        if all(len(line) == 3 for line in rows) and _is_turn(rows):
            return rows
    faults.append(_("pose: this must be a 3 × 3 rotation."))
    return None


def _is_three(value: Any) -> bool:
    return isinstance(value, list) and len(value) == 3


def _is_turn(rows: list[list[float]]) -> bool:
    def dot(a: list[float], b: list[float]) -> float:
        return sum(x * y for x, y in zip(a, b, strict=True))

    square = all(abs(dot(rows[i], rows[j]) - (i == j)) < _TURN_OFF for i in range(3) for j in range(3))
    (a, b, c), (d, e, f), (g, h, i) = rows
    return square and a * (e * i - f * h) - b * (d * i - f * g) + c * (d * h - e * g) > 0


def _gauge(raw: Any, faults: list[str]) -> dict[str, Any] | None:
    """What a redesign must keep, within the limits of its form."""
    if raw is None:
        return None
    if not isinstance(raw, Mapping):
        faults.append(_("gauge: this must be a table of fields, or null."))
        return None
    unknown = [name for name in raw if name not in GAUGE_FIELDS]
    faults += [_("gauge: “%(name)s” is nothing a gauge has.") % {"name": str(name)[:40]} for name in unknown]
    values = {**no_gauge(), **{name: raw[name] for name in GAUGE_FIELDS if name in raw}}
    wrong = [name for name, value in values.items() if not _fits_gauge(name, value)]
    faults += [_("gauge, %(name)s: this value cannot be.") % {"name": name} for name in wrong]
    if unknown or wrong:
        return None
    data = {name: repr(value) for name, value in values.items() if value is not None and name != "through"}
    data["through"] = {True: "yes", False: "no", None: ""}[values["through"]]
    form = GaugeForm(data, values=values)
    about = _("gauge")
    faults += [f"{about}, {fault}" for fault in _form_faults(form)]
    return dict(form.cleaned_data)


def _fits_gauge(name: str, value: Any) -> bool:
    if name == "through":
        return value is None or type(value) is bool
    return value is None or type(value) in (int, float)
