"""The experiment of a lesson plan: what is changed, what is measured, what is predicted and how.

Read from ``LessonPlan.content["experiment"]``, whose keys docs/lesson-plan.md lists. Units are checked by pint.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from functools import lru_cache
from typing import Any, Protocol, TypeVar, cast

from django.utils.translation import gettext as _

from lessons.science.rolling import Ramp
from lessons.science.summary import HAND_TIMING, KnownScatter
from lessons.science.values import Measured

Kind = TypeVar("Kind", bound=StrEnum)
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
        )

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
        return designs or (_("our design"),)

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


class _Units(Protocol):
    def __call__(self, text: str) -> Any: ...


@lru_cache(maxsize=1)
def _registry() -> _Units:
    import pint  # a third of a second, and only when a plan is read

    return cast(_Units, pint.UnitRegistry(autoconvert_offset_to_baseunit=True).Unit)


@lru_cache(maxsize=256)
def is_unit(text: str) -> bool:
    """Whether pint knows a unit of that name."""
    if len(text) > 24 or not text.isprintable():
        return False
    try:
        _registry()(text)
    except Exception:  # noqa: BLE001 - pint raises errors of its own, of its parser and of tokenize
        return False
    return True
