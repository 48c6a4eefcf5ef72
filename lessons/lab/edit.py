"""The experiment of a lesson as a teacher writes it: fields and rows as typed, and the content they make."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from django.http import QueryDict
from django.utils.functional import Promise
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from lessons.lab.edit_fields import FIELDS, GROUPS, LISTS, MODEL_GROUP, Field, Kind, ListOf
from lessons.lab.experiment import Experiment, ExperimentError, read_experiment
from lessons.lab.model_kinds import ABOUT, Constant, ModelKind
from lessons.lab.units import is_unit

ROWS_MOST, TEXT_MOST = 40, 400
NOT_A_NUMBER = gettext_lazy("“%(text)s” is not a number. Write it like 2.5.")
Errors = dict[tuple[str, int], str]  # field and row (-1: no row) to what is wrong


class ExperimentForm:
    """What was typed, nothing lost. ``typed``: text by field; ``rows``: texts by list; ``errors`` after ``check``."""

    def __init__(self, version: int, typed: Mapping[str, str], rows: Mapping[str, list[str]]) -> None:
        self.version, self.typed = version, dict(typed)
        self.rows = {name: list(texts) for name, texts in rows.items()}
        self.errors: Errors = {}
        self.general: list[str] = []
        self.focus = ""

    @classmethod
    def of_content(cls, version: int, content: Mapping[str, Any]) -> ExperimentForm:
        """The form of a saved experiment; an empty one, ready to fill in, of a lesson without."""
        raw = content.get("experiment") or {}
        kind = _kind_of(raw)
        typed = {
            each.name: _as_typed(_found(raw, each.path) if each.model in ("", kind) else None, each) for each in FIELDS
        }
        typed["model_kind"] = kind
        rows = {}
        for each in LISTS:
            values = _found(raw, each.path)
            rows[each.name] = [_plain(value) for value in values] if isinstance(values, list) else []
            rows[each.name] += [""] * (each.begin - len(rows[each.name]))
        return cls(version, typed, rows)

    @classmethod
    def of_post(cls, post: QueryDict) -> ExperimentForm:
        """The form as it came back; what is too much to be typed is cut."""
        version = post.get("version", "")
        typed = {each.name: post.get(each.name, "")[:TEXT_MOST] for each in FIELDS}
        rows = {each.name: [text[:TEXT_MOST] for text in post.getlist(each.name)[:ROWS_MOST]] for each in LISTS}
        return cls(int(version) if version.isdecimal() and len(version) < 9 else 0, typed, rows)

    def do(self, asked: str) -> None:
        """Add or take out a row: ``add:tried``, ``remove:tried:1``. Anything else changes nothing."""
        verb, _colon, rest = asked.partition(":")
        name, _colon, place = rest.partition(":")
        rows = self.rows.get(name)
        if rows is None:
            return
        if verb == "add" and len(rows) < ROWS_MOST:
            rows.append("")
            self.focus = f"{name}-{len(rows) - 1}"
        if verb == "remove" and place.isdecimal() and int(place[:3]) < len(rows):
            del rows[int(place[:3])]
            self.focus = f"add-{name}"

    def check(self, kept: Mapping[str, Any]) -> dict[str, Any]:
        """The experiment these fields make, as a plan's content holds it, written over ``kept``, whose keys the form
        does not know stay. ``errors`` and ``general`` say what is wrong."""
        self.errors, self.general = {}, []
        made: dict[str, Any] = dict(kept)
        kind = self.typed["model_kind"]
        made["model"] = {name: value for name, value in (made.get("model") or {}).items() if kind == _kind_of(kept)}
        for each in FIELDS:
            if each.model in ("", kind):
                _put(made, each.path, self._value(each))
            elif each.model == ModelKind.ROLLING:
                _put(made, each.path, None)
        self._model(kind)
        for rows in LISTS:
            _put(made, rows.path, self._values(rows))
        self._whole_parts(made)
        self._across(made)
        if not self.errors:
            try:
                read_experiment({"experiment": made})
            except ExperimentError as error:
                self.general = error.problems
        return made

    @property
    def is_good(self) -> bool:
        return not self.errors and not self.general

    @property
    def error_count(self) -> int:
        return len(self.errors) + len(self.general)

    def _value(self, each: Field) -> Any:
        text = self.typed[each.name].strip()
        if each.kind is Kind.TICK:
            return bool(text)
        if not text:
            if each.needed:
                self._wrong(each.name, _("This is needed."))
            return None
        if each.kind is Kind.UNIT:
            if not is_unit(text):
                self._wrong(
                    each.name, _("“%(unit)s” is not a unit we know. Write it short: g, cm, s, V.") % {"unit": text}
                )
            return text
        if each.kind in (Kind.NUMBER, Kind.WHOLE):
            return self._number(each, text)
        if each.kind is Kind.CHOICE and text not in dict(each.choices):
            self._wrong(each.name, _("Choose one of these."))
        return text

    def _number(self, each: Field, text: str) -> float | int | None:
        value = number_of(text)
        if value is None:
            self._wrong(each.name, NOT_A_NUMBER % {"text": text[:20]})
        elif each.kind is Kind.WHOLE and value != int(value):
            self._wrong(each.name, _("Write a whole number."))
        elif each.low is not None and each.high is not None and not each.low <= value <= each.high:
            self._wrong(each.name, _("From %(low)g to %(high)g.") % {"low": each.low, "high": each.high})
        elif each.above_0 and value <= 0:
            self._wrong(each.name, _("It must be above 0."))
        return value

    def _values(self, rows: ListOf) -> list[Any]:
        found: list[Any] = []
        for at, text in enumerate(self.rows[rows.name]):
            if not text.strip():
                continue
            value = number_of(text) if rows.numbers else text.strip()
            if value is None:
                self._wrong(rows.name, NOT_A_NUMBER % {"text": text.strip()[:20]}, at)
            elif value in found and rows.own:
                self._wrong(rows.name, _("This is there twice."), at)
            elif not rows.numbers and len(text.strip()) > rows.longest:
                self._wrong(rows.name, _("At most %(most)d letters.") % {"most": rows.longest}, at)
            else:
                found.append(value)
        filled = sum(bool(text.strip()) for text in self.rows[rows.name])
        if not rows.fewest <= filled <= rows.most:
            self._wrong(rows.name, _("Give %(low)d to %(high)d of these.") % {"low": rows.fewest, "high": rows.most})
        return found

    def _model(self, kind: str) -> None:
        """Figures without their model are asked about, not dropped; those it cannot do without are asked for."""
        if not kind and any(self.typed[each.name].strip() for each in FIELDS if each.model and not each.default):
            self._wrong("model_kind", _("Choose the model the figures below belong to, or empty them."))
        needed = [f"{kind}_{each.name}" for each in _constants(kind) if each.default is None]
        for name in ["body_g"] if kind == ModelKind.ROLLING else needed:
            if not self.typed[name].strip():
                self._wrong(name, _("The model needs this."))

    def _whole_parts(self, made: dict[str, Any]) -> None:
        """Tables nobody filled in are left away: no scatter, no cart, no track."""
        if not (made.get("scatter") or {}).get("sd"):
            made.pop("scatter", None)
        elif not made["scatter"].get("source"):
            self._wrong("scatter_source", _("Say where this figure is from."))
        if (made.get("cart") or {}).get("body_g") is None:
            made.pop("cart", None)
        else:
            made["cart"]["wheels"] = made["cart"].get("wheels") or 4
        for name in ("track_length_m", "track_rise_m"):
            if made.get(name) is None:
                made.pop(name, None)
        model = {name: value for name, value in made["model"].items() if value is not None}
        if model.get("kind") and self.typed["model_kind"] != ModelKind.ROLLING:
            made["model"] = model
        else:
            made.pop("model")  # a cart says it by itself
        for name in ("changed", "measured"):
            made[name]["unit"] = made[name].get("unit") or ""

    def _across(self, made: Mapping[str, Any]) -> None:
        predicted, tried = made["changed"]["predicted"], made["changed"]["tried"]
        if predicted is not None and predicted in tried:
            self._wrong("predicted", _("This value is among those tried first; predict another one."))
        elif predicted is not None and len(tried) < 2:
            self._wrong("predicted", _("A prediction needs two values tried before it."))
        if made.get("rank_at") is not None and made["rank_at"] not in (*tried, predicted):
            self._wrong("rank_at", _("Teams measure at the values tried and the predicted one; take one of these."))
        length, rise = made.get("track_length_m"), made.get("track_rise_m")
        if length and rise and rise >= length:
            self._wrong("track_rise_m", _("The track cannot rise by more than it is long."))
        for name, other in (("track_length_m", rise), ("track_rise_m", length)):
            if other and not made.get(name):
                self._wrong(name, _("Give both length and rise, or neither."))

    def _wrong(self, name: str, words: str, row: int = -1) -> None:
        self.errors.setdefault((name, row), words)

    @property
    def groups(self) -> list[GroupView]:
        """Everything the page shows, group by group; the figures of other models are folded away."""
        chosen = MODEL_GROUP + self.typed["model_kind"]
        return [
            GroupView(
                name, label, hint, self._views(name), self._lists(name),
                folds=name.startswith(MODEL_GROUP), is_open=name == chosen,
            )
            for name, label, hint in GROUPS
        ]  # fmt: skip

    def _views(self, group: str) -> list[FieldView]:
        return [
            FieldView(each, self.typed[each.name], self.errors.get((each.name, -1), ""))
            for each in FIELDS
            if each.group == group
        ]

    def _lists(self, group: str) -> list[ListView]:
        views = []
        for each in LISTS:
            if each.group == group:
                rows = [
                    RowView(f"{each.name}-{at}", at, text, self.errors.get((each.name, at), ""), self.focus)
                    for at, text in enumerate(self.rows[each.name])
                ]
                views.append(ListView(each, rows, self.errors.get((each.name, -1), ""), self.focus))
        return views


@dataclass(frozen=True)
class FieldView:
    """One field as the page shows it."""

    field: Field
    value: str
    error: str


@dataclass(frozen=True)
class RowView:
    """One row of a list; ``place`` counts from 0."""

    id: str
    place: int
    value: str
    error: str
    focus: str

    @property
    def number(self) -> int:
        return self.place + 1

    @property
    def has_focus(self) -> bool:
        return self.focus == self.id


@dataclass(frozen=True)
class ListView:
    """A list with its rows."""

    about: ListOf
    rows: list[RowView]
    error: str
    focus: str

    @property
    def adds_focus(self) -> bool:
        return self.focus == f"add-{self.about.name}"


@dataclass(frozen=True)
class GroupView:
    """A card of the page."""

    name: str
    label: str | Promise
    hint: str | Promise
    fields: list[FieldView]
    lists: list[ListView] = field(default_factory=list)
    folds: bool = False
    is_open: bool = False


def number_of(text: str) -> float | int | None:
    """A number as people write it, with a point or a comma; whole ones as int. None when it is none, or not finite."""
    plain = text.strip().replace("\u00a0", "").replace(" ", "").replace(",", ".").replace("\u2212", "-")
    try:
        value = float(plain)
    except (ValueError, OverflowError):
        return None
    if not math.isfinite(value) or abs(value) > 1e9:
        return None
    return int(value) if value == int(value) else value


def experiment_of(form: ExperimentForm, kept: Mapping[str, Any]) -> Experiment | None:
    """The experiment as typed now, for the preview; None while it cannot be read. The form's errors are set."""
    made = form.check(kept)
    return read_experiment({"experiment": made}) if form.is_good else None


def _kind_of(raw: Mapping[str, Any]) -> str:
    """The model an experiment names; a cart or a track is a rolling one."""
    model = raw.get("model")
    if isinstance(model, Mapping) and model.get("kind"):
        return str(model["kind"])
    return ModelKind.ROLLING.value if raw.get("cart") or raw.get("track_length_m") else ""


def _constants(kind: str) -> tuple[Constant, ...]:
    return ABOUT[ModelKind(kind)].constants if kind in list(ModelKind) else ()


def _found(raw: Any, path: tuple[str, ...]) -> Any:
    for name in path:
        raw = raw.get(name) if isinstance(raw, Mapping) else None
    return raw


def _put(made: dict[str, Any], path: tuple[str, ...], value: Any) -> None:
    for name in path[:-1]:
        inner = made.get(name)
        made[name] = dict(inner) if isinstance(inner, Mapping) else {}
        made = made[name]
    made[path[-1]] = value


def _as_typed(value: Any, each: Field) -> str:
    if value is None:
        return each.default
    if each.kind is Kind.TICK:
        return "on" if value else ""
    return _plain(value)


def _plain(value: Any) -> str:
    return f"{value:.10g}" if isinstance(value, float) else str(value)
