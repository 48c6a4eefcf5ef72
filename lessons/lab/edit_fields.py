"""The fields of the experiment editor, as data: name, words, kind, and where the value stands in the content."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from django.utils.translation import gettext_lazy as _

from lessons.lab.experiment import DESIGNS_MOST, TRIALS_MOST, VALUES_MOST, Best, PredictBy
from lessons.lab.model_kinds import ABOUT, ModelKind, Words

DESIGN_LONGEST, SENTENCE_LONGEST = 40, 400  # a design's name is a column of Reading


class Kind(StrEnum):
    """What may stand in a field."""

    TEXT = "text"
    UNIT = "unit"
    NUMBER = "number"
    WHOLE = "whole"
    CHOICE = "choice"
    TICK = "tick"


@dataclass(frozen=True)
class Field:
    """One field. ``path`` is its place below ``content["experiment"]``; ``low`` and ``high`` bound a number."""

    name: str
    path: tuple[str, ...]
    group: str
    label: Words
    kind: Kind = Kind.TEXT
    hint: Words = ""
    needed: bool = False
    default: str = ""
    low: float | None = None
    high: float | None = None
    above_0: bool = False
    choices: tuple[tuple[str, Words], ...] = ()

    @property
    def mode(self) -> str:
        return {Kind.NUMBER: "decimal", Kind.WHOLE: "numeric"}.get(self.kind, "")

    @property
    def model(self) -> str:
        """The model this is a figure of; empty for a field of every experiment."""
        return self.group.removeprefix(MODEL_GROUP) if self.group.startswith(MODEL_GROUP) else ""

    @property
    def is_wide(self) -> bool:
        return self.kind in (Kind.TICK, Kind.CHOICE)


@dataclass(frozen=True)
class ListOf:
    """A list of one text or number a row. ``own``: no row may be there twice; ``begin``: empty rows of a new one."""

    name: str
    path: tuple[str, ...]
    group: str
    label: Words
    row: Words
    hint: Words = ""
    numbers: bool = False
    own: bool = False
    fewest: int = 0
    most: int = 30
    longest: int = SENTENCE_LONGEST
    begin: int = 0

    @property
    def is_text(self) -> bool:
        return not self.numbers and self.longest == SENTENCE_LONGEST


MODEL_GROUP = "model-"
ROLLING = MODEL_GROUP + ModelKind.ROLLING

GROUPS: tuple[tuple[str, Words, Words], ...] = (
    ("changed", _("What teams change"), _("One thing only; everything else stays the same.")),
    ("measured", _("What teams measure"), ""),
    ("prediction", _("The prediction"), _("Leave the value empty when nothing is predicted.")),
    ("designs", _("Designs to compare"), _("The first is the kit's own part, the last what the team designed.")),
    ("run", _("Doing a run"), _("Shown on the team sheet, on paper and in the report.")),
    ("scatter", _("How far runs scatter"), _("Leave empty when you do not know. For seconds, hand timing is taken.")),
    (
        "model",
        _("What physics expects"),
        _("Shown beside what teams measure, for the kit’s part and their own. Choose one, then fill in its figures."),
    ),
    (MODEL_GROUP + ModelKind.ROLLING, _("A cart rolling down a ramp"), ABOUT[ModelKind.ROLLING].hint),
    (MODEL_GROUP + ModelKind.HULL, _("A hull floating in water"), ABOUT[ModelKind.HULL].hint),
    (MODEL_GROUP + ModelKind.LAUNCHER, _("A lever throwing a ball"), ABOUT[ModelKind.LAUNCHER].hint),
    (MODEL_GROUP + ModelKind.HOIST, _("A drum winding up a load"), ABOUT[ModelKind.HOIST].hint),
    (MODEL_GROUP + ModelKind.TURBINE, _("A wind turbine before a fan"), ABOUT[ModelKind.TURBINE].hint),
)

FIELDS: tuple[Field, ...] = (
    Field("changed_name", ("changed", "name"), "changed", _("Name"), needed=True, hint=_("such as load")),
    Field("changed_unit", ("changed", "unit"), "changed", _("Unit"), Kind.UNIT, _("such as g; empty for a number")),
    Field("weigh", ("weigh",), "changed", _("Teams weigh it each time, not trust the label"), Kind.TICK),
    Field("measured_name", ("measured", "name"), "measured", _("Name"), needed=True, hint=_("such as time")),
    Field("measured_unit", ("measured", "unit"), "measured", _("Unit"), Kind.UNIT, _("s brings the stopwatch")),
    Field(
        "decimals",
        ("measured", "decimals"),
        "measured",
        _("Decimals"),
        Kind.WHOLE,
        _("0 for whole numbers"),
        needed=True,
        default="0",
        low=0,
        high=4,
    ),
    Field(
        "trials",
        ("trials",),
        "measured",
        _("Runs at each value"),
        Kind.WHOLE,
        _("3 or more give a mean with its scatter"),
        needed=True,
        default="3",
        low=1,
        high=TRIALS_MOST,
    ),
    Field(
        "best",
        ("best",),
        "measured",
        _("A good design has"),
        Kind.CHOICE,
        needed=True,
        default=Best.LOW.value,
        choices=((Best.LOW.value, _("a low value")), (Best.HIGH.value, _("a high value"))),
    ),
    Field(
        "rank_at",
        ("rank_at",),
        "measured",
        _("Teams ranked at"),
        Kind.NUMBER,
        _("empty: the predicted one, else the last one tried"),
    ),
    Field("predicted", ("changed", "predicted"), "prediction", _("Value to predict, then test"), Kind.NUMBER),
    Field(
        "predict_by",
        ("predict_by",),
        "prediction",
        _("Read from"),
        Kind.CHOICE,
        needed=True,
        default=PredictBy.LINE_BETWEEN.value,
        choices=(
            (PredictBy.LINE_BETWEEN.value, _("the straight line between the two values beside it")),
            (PredictBy.FITTED_LINE.value, _("the line fitted to all runs")),
        ),
    ),
    Field(
        "scatter_sd",
        ("scatter", "sd"),
        "scatter",
        _("Scatter of one run"),
        Kind.NUMBER,
        _("in the measured unit"),
        above_0=True,
    ),
    Field(
        "scatter_source",
        ("scatter", "source"),
        "scatter",
        _("Where that is from"),
        hint=_("a book, a page, your own runs"),
    ),
    Field(
        "model_kind",
        ("model", "kind"),
        "model",
        _("Model"),
        Kind.CHOICE,
        choices=(("", _("none")), *((each.kind.value, each.label) for each in ABOUT.values())),
    ),
    Field("track_length_m", ("track_length_m",), ROLLING, _("Length of the track, m"), Kind.NUMBER, above_0=True),
    Field("track_rise_m", ("track_rise_m",), ROLLING, _("Rise over it, m"), Kind.NUMBER, above_0=True),
    Field("body_g", ("cart", "body_g"), ROLLING, _("Cart without wheels, g"), Kind.NUMBER, above_0=True),
    Field(
        "wheels",
        ("cart", "wheels"),
        ROLLING,
        _("Wheels on the cart"),
        Kind.WHOLE,
        _("how many turn with it; each is taken to be like the team’s own"),
        default="4",
        low=1,
        high=12,
    ),
    Field(
        "is_load",
        ("cart", "changed_is_load"),
        ROLLING,
        _("What teams change is a load in g on the cart"),
        Kind.TICK,
        default="on",
    ),
    *(
        Field(
            f"{about.kind}_{each.name}",
            ("model", each.name),
            MODEL_GROUP + about.kind,
            each.label,
            Kind.WHOLE if each.whole else Kind.NUMBER,
            each.hint or ("" if each.default is None else _("may stay empty")),
            low=each.low,
            high=each.high,
        )
        for about in ABOUT.values()
        for each in about.constants
    ),
)

LISTS: tuple[ListOf, ...] = (
    ListOf(
        "tried",
        ("changed", "tried"),
        "changed",
        _("Values tried first, in order"),
        _("value"),
        numbers=True,
        own=True,
        fewest=1,
        most=VALUES_MOST,
        begin=2,
    ),
    ListOf(
        "designs",
        ("designs",),
        "designs",
        _("Designs"),
        _("design"),
        own=True,
        most=DESIGNS_MOST,
        longest=DESIGN_LONGEST,
        begin=1,
    ),
    ListOf("constant", ("constant",), "run", _("What stays the same"), _("thing"), begin=1),
    ListOf("worksheet", ("worksheet",), "run", _("What to do, step by step"), _("step"), begin=1),
)
