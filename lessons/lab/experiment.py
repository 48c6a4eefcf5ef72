"""The experiment of a lesson plan: what is changed, what is measured, what is predicted and how.

Read from ``LessonPlan.content["experiment"]``, whose keys docs/lesson-plan.md lists. Units are checked by pint.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Any, TypeVar

from django.utils.translation import gettext as _

from lessons.lab.model_kinds import ABOUT, Constant, ModelKind, ModelOf
from lessons.lab.units import converts, is_unit
from lessons.science.rolling import Ramp
from lessons.science.summary import HAND_TIMING, KnownScatter
from lessons.science.values import Measured

Kind = TypeVar("Kind", bound=StrEnum)
# what stands with the readings when a lesson names no designs: data, so the same in every language
OUR_DESIGN = "our design"
TRIALS_MOST, VALUES_MOST, DESIGNS_MOST = 20, 12, 12


class PredictBy(StrEnum):
    """How the value nobody has tried yet is predicted from those tried."""

    LINE_BETWEEN = "line_between"  # the straight line between the two tried values on either side
    FITTED_LINE = "fitted_line"  # least squares through all tried values


class Best(StrEnum):
    """Which end of the measured variable a good design has."""

    LOW = "low"
    HIGH = "high"


class ExperimentError(ValueError):
    """The experiment cannot be run as written; ``problems`` are sentences, one a fault."""

    def __init__(self, problems: Sequence[str]) -> None:
        self.problems = list(problems)
        super().__init__(" ".join(self.problems))


@dataclass(frozen=True, slots=True)
class Variable:
    """A name and a unit as pint writes it short ("" for a bare number); ``decimals`` of a reading."""

    name: str
    unit: str
    decimals: int = 0

    @property
    def resolution(self) -> float:
        return 10.0**-self.decimals


@dataclass(frozen=True, slots=True)
class CartModel:
    """What the rolling model needs beside the wheel: the cart without its wheels, and how many it has."""

    body_g: float
    wheels: int
    changed_is_load: bool = True  # the changed variable is a load in g put on the cart


@dataclass(frozen=True, slots=True)
class Experiment:
    """``tried`` are the values measured first, in order; ``predicted`` is the one predicted and then tested, if any."""

    changed: Variable
    tried: tuple[float, ...]
    predicted: float | None
    measured: Variable
    trials: int
    designs: tuple[str, ...]
    best: Best
    predict_by: PredictBy
    constant: tuple[str, ...]
    worksheet: tuple[str, ...]
    weigh: bool  # teams weigh what they load instead of trusting the label
    scatter: KnownScatter | None
    ramp: Ramp | None
    cart: CartModel | None
    rank_at: float | None = None  # the value teams are compared at, where the plan says one
    model: ModelOf | None = None  # what the expected values come from

    @property
    def compared_at(self) -> float:
        """The value of the changed variable at which teams are ranked: the plan's, else the predicted one, which every
        team takes last and knows least beforehand, else the last one tried."""
        return self.values[-1] if self.rank_at is None else self.rank_at

    @property
    def values(self) -> tuple[float, ...]:
        """Every value of the changed variable, in the order teams take them."""
        return self.tried if self.predicted is None else (*self.tried, self.predicted)

    @property
    def is_timed(self) -> bool:
        return self.measured.unit == "s"

    def runs_of_a_team(self) -> int:
        return len(self.values) * self.trials


def read_experiment(content: Mapping[str, Any]) -> Experiment | None:
    """The experiment of a plan's content, None when it has none. Raises ExperimentError with every fault found."""
    raw = content.get("experiment")
    if not raw:
        return None
    if not isinstance(raw, Mapping):
        raise ExperimentError([_("The experiment must be a table of fields.")])
    reader = _Reader(raw)
    found = reader.read()
    if reader.problems:
        raise ExperimentError(reader.problems)
    return found


class _Reader:
    """Reads field by field and collects what is wrong."""

    def __init__(self, raw: Mapping[str, Any]) -> None:
        self.raw = raw
        self.problems: list[str] = []

    def read(self) -> Experiment:
        changed_raw, measured_raw = self._table("changed"), self._table("measured")
        changed = self._variable(changed_raw, _("the changed variable"))
        measured = self._variable(measured_raw, _("the measured variable"))
        tried = self._numbers(changed_raw.get("tried"))
        predicted = self._number_or_none(changed_raw.get("predicted"), _("the predicted value"))
        self._check_values(tried, predicted)
        return Experiment(
            changed=changed,
            tried=tried,
            predicted=predicted,
            measured=measured,
            trials=self._whole(self.raw.get("trials", 3), 1, TRIALS_MOST, _("trials per value")),
            designs=self._designs(),
            best=self._choice(Best, self.raw.get("best", Best.LOW), _("which end is best")),
            predict_by=self._choice(
                PredictBy, self.raw.get("predict_by", PredictBy.LINE_BETWEEN), _("how the value is predicted")
            ),
            constant=self._texts("constant"),
            worksheet=self._texts("worksheet"),
            weigh=bool(self.raw.get("weigh", False)),
            scatter=self._scatter(measured),
            ramp=self._ramp(),
            cart=self._cart(),
            rank_at=self._rank_at(tried, predicted),
            model=self._model(changed, measured),
        )

    def _model(self, changed: Variable, measured: Variable) -> ModelOf | None:
        raw = self.raw.get("model")
        if raw is None:
            if not self.raw.get("cart"):
                return None
            self._rolling(changed, measured)
            return ModelOf(ModelKind.ROLLING, {})
        if not isinstance(raw, Mapping):
            self.problems.append(_("The model must be a table of fields."))
            return None
        try:
            about = ABOUT[ModelKind(str(raw.get("kind")))]
        except ValueError:
            self.problems.append(_("“%(kind)s” is no model we know.") % {"kind": raw.get("kind")})
            return None
        if self.raw.get("cart") and about.kind is not ModelKind.ROLLING:
            self.problems.append(_("An experiment has one model: a cart on a ramp, or another one."))
        pairs = (
            ()
            if about.kind is ModelKind.ROLLING
            else (
                (changed, about.changed, _("the changed variable")),
                (measured, about.measured, _("what is measured")),
            )
        )
        for variable, wanted, what in pairs:
            if wanted is not None and is_unit(variable.unit) and not converts(variable.unit, wanted):
                words = _("“%(model)s” needs %(what)s in %(unit)s or a unit that converts to it.")
                unit = wanted or _("bare numbers")
                self.problems.append(words % {"model": about.label, "what": what, "unit": unit})
        if about.kind is ModelKind.ROLLING:
            self._rolling(changed, measured)
        return ModelOf(about.kind, {each.name: self._constant(raw, each) for each in about.constants})

    def _rolling(self, changed: Variable, measured: Variable) -> None:
        cart = self.raw.get("cart")
        if not cart:
            self.problems.append(_("A rolling cart needs its mass without wheels."))
        elif measured.unit != "s":
            self.problems.append(_("For a rolling cart the time is measured in s."))
        elif isinstance(cart, Mapping) and cart.get("changed_is_load", True) and changed.unit != "g":
            self.problems.append(_("For a rolling cart the load is in g."))

    def _constant(self, raw: Mapping[str, Any], about: Constant) -> float:
        value = self._number_or_none(raw.get(about.name), str(about.label))
        if value is None and about.default is None and not raw.get(about.name):
            self.problems.append(_("The model needs a figure: %(label)s.") % {"label": about.label})
        if value is None:
            return about.low if about.default is None else about.default
        if not about.low <= value <= about.high or (about.whole and value != int(value)):
            facts = {"label": about.label, "low": f"{about.low:g}", "high": f"{about.high:g}"}
            self.problems.append(_("%(label)s: from %(low)s to %(high)s.") % facts)
        return value

    def _rank_at(self, tried: tuple[float, ...], predicted: float | None) -> float | None:
        value = self._number_or_none(self.raw.get("rank_at"), _("the value teams are compared at"))
        if value is not None and value not in (*tried, predicted):
            self.problems.append(_("Teams can be compared only at a value they measure."))
        return value

    def _check_values(self, tried: tuple[float, ...], predicted: float | None) -> None:
        if not 1 <= len(tried) <= VALUES_MOST:
            self.problems.append(_("Give 1 to %(most)d values to try.") % {"most": VALUES_MOST})
        if len(set(tried)) != len(tried):
            self.problems.append(_("A value to try is there twice."))
        if predicted is not None and predicted in tried:
            self.problems.append(_("The predicted value is among those tried first; it must be another one."))
        if predicted is not None and len(tried) < 2:
            self.problems.append(_("A prediction needs two values tried before it."))

    def _table(self, name: str) -> Mapping[str, Any]:
        value = self.raw.get(name)
        if isinstance(value, Mapping):
            return value
        self.problems.append(_("The experiment says nothing of “%(name)s”.") % {"name": name})
        return {}

    def _variable(self, raw: Mapping[str, Any], what: str) -> Variable:
        name, unit = str(raw.get("name", "")).strip(), str(raw.get("unit", "")).strip()
        if not name:
            self.problems.append(_("Give %(what)s a name.") % {"what": what})
        if unit and not is_unit(unit):
            self.problems.append(_("“%(unit)s” is not a unit we know.") % {"unit": unit})
        return Variable(name, unit, self._whole(raw.get("decimals", 0), 0, 4, _("decimals")))

    def _numbers(self, raw: Any) -> tuple[float, ...]:
        if not isinstance(raw, Sequence) or isinstance(raw, str):
            self.problems.append(_("The values to try must be a list of numbers."))
            return ()
        found = [self._number_or_none(value, _("a value to try")) for value in raw]
        return tuple(value for value in found if value is not None)

    def _number_or_none(self, raw: Any, what: str) -> float | None:
        if raw is None or raw == "":
            return None
        if isinstance(raw, bool) or not isinstance(raw, int | float) or not math.isfinite(raw):
            self.problems.append(_("%(what)s must be a number.") % {"what": what[:1].upper() + what[1:]})
            return None
        return float(raw)

    def _positive(self, raw: Any, what: str) -> float | None:
        value = self._number_or_none(raw, what)
        if value is not None and value <= 0:
            self.problems.append(_("%(what)s must be above 0.") % {"what": what[:1].upper() + what[1:]})
            return None
        return value

    def _whole(self, raw: Any, low: int, high: int, what: str) -> int:
        if isinstance(raw, bool) or not isinstance(raw, int) or not low <= raw <= high:
            self.problems.append(
                _("%(what)s must be a whole number from %(low)d to %(high)d.")
                % {"what": what[:1].upper() + what[1:], "low": low, "high": high}
            )
            return low
        return raw

    def _choice(self, kind: type[Kind], raw: Any, what: str) -> Kind:
        try:
            return kind(raw)
        except ValueError:
            self.problems.append(_("“%(raw)s” is no answer to %(what)s.") % {"raw": raw, "what": what})
            return next(iter(kind))

    def _texts(self, name: str) -> tuple[str, ...]:
        value = self.raw.get(name, [])
        if not isinstance(value, Sequence) or isinstance(value, str):
            self.problems.append(_("“%(name)s” must be a list of sentences.") % {"name": name})
            return ()
        return tuple(text for text in (str(each).strip() for each in value) if text)

    def _designs(self) -> tuple[str, ...]:
        designs = self._texts("designs")
        if len(set(designs)) != len(designs) or len(designs) > DESIGNS_MOST:
            self.problems.append(_("Designs must have names of their own, %(most)d at most.") % {"most": DESIGNS_MOST})
        return designs or (OUR_DESIGN,)

    def _scatter(self, measured: Variable) -> KnownScatter | None:
        raw = self.raw.get("scatter")
        if isinstance(raw, Mapping):
            sd = self._positive(raw.get("sd"), _("the known scatter"))
            return KnownScatter(sd, str(raw.get("source", ""))) if sd else None
        return HAND_TIMING if measured.unit == "s" else None

    def _ramp(self) -> Ramp | None:
        length = self._positive(self.raw.get("track_length_m"), _("the length of the track"))
        rise = self._positive(self.raw.get("track_rise_m"), _("the rise of the track"))
        if length is None or rise is None:
            return None
        if rise >= length:
            self.problems.append(_("The track cannot rise by more than it is long."))
            return None
        # a tape on a track: to about 2 mm (common practice, no source)
        return Ramp(Measured(length, 0.002), Measured(rise, 0.002))

    def _cart(self) -> CartModel | None:
        raw = self.raw.get("cart")
        if raw is None:
            return None
        if not isinstance(raw, Mapping):
            self.problems.append(_("The cart must be a table of fields."))
            return None
        body = self._positive(raw.get("body_g"), _("the mass of the cart without wheels"))
        wheels = self._whole(raw.get("wheels", 4), 1, 12, _("wheels"))
        return CartModel(body, wheels, bool(raw.get("changed_is_load", True))) if body else None
