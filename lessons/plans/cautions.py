"""The cautions every plan needs that has something printed or cut: in our own words, each with its source.

They defer to the school's policy, the maker's instructions and local code, and no editor can leave them out while the
plan has the kind of work they are for.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as noted

from lessons.plans.own_cautions import OWN_CAUTIONS, OWN_SOURCES

PRINTING, TOOLS, LAB_DAY, ALWAYS = noted("printing"), noted("tools"), noted("lab day"), noted("always")
WHENS = (PRINTING, TOOLS, LAB_DAY, ALWAYS)  # in the order they are shown
Row = Mapping[str, Any]

_ISU = "Illinois State University, safety notes on 3D printing"
_UL = "UL expert in IAEI Magazine"
_CP = noted("common practice, no source")

# Stored in the plan with its other text, in English; ``told`` puts them into the reader's language.
STANDARD: tuple[dict[str, str], ...] = (
    {
        "when": PRINTING,
        "text": noted(
            "The nozzle and the bed burn. Wait until the screen shows that both are cool."
        ),
        "source": f"NIOSH poster 2020-115 (hot surfaces); {_ISU}",
    },
    {
        "when": PRINTING,
        "text": noted(
            "Keep hands, hair and cords out of the moving frame."
        ),
        "source": f"{_ISU}; {_UL}",
    },
    {
        "when": PRINTING,
        "text": noted(
            "Run the fan or keep the cover shut, and sit away from printers that are running."
        ),
        "source": "NIOSH poster 2020-115; University of Rochester, environmental health and safety",
    },
    {
        "when": PRINTING,
        "text": noted(
            "Has a print failed? Stay back until the air has cleared and the printer is cool."
        ),
        "source": "NIOSH poster 2020-115: going up quickly after a failure raises what you breathe in",
    },
    {
        "when": PRINTING,
        "text": noted(
            "Do you have asthma? Tell your teacher, and sit far from the printers."
        ),
        "source": "CLEAPSS guide on 3D printing in schools, endorsed by HSE",
    },
    {
        "when": PRINTING,
        "text": noted(
            "Printers run only while a named adult is on duty. Running with nobody there needs the school's "
        "written leave."
        ),
        "source": f"{_UL}; course rules at digitalhand.org",
    },
    {
        "when": PRINTING,
        "text": noted(
            "Use only the spool on the label. Never load plastic you do not know."
        ),
        "source": _ISU,
    },
    {
        "when": TOOLS,
        "text": noted(
            "Push the scraper away from you. Hold the plate, not the part. In younger classes an adult does it."
        ),
        "source": f"{_CP}; cuts are named by AIHA, June 2023",
    },
    {
        "when": TOOLS,
        "text": noted(
            "Wear glasses when you snap off supports or press a rod into a hub."
        ),
        "source": _CP,
    },
    {
        "when": ALWAYS,
        "text": noted(
            "Parts small enough for a film canister stay away from children under three."
        ),
        "source": "16 CFR 1501.4 (small parts)",
    },
    {
        "when": ALWAYS,
        "text": noted(
            "Your school's policy, the maker's instructions and local code come first."
        ),
        "source": noted("rule of this app"),
    },
)  # fmt: skip
# for an experiment on a ramp
RAMP: tuple[dict[str, str], ...] = (
    {
        "when": LAB_DAY,
        "text": noted("Keep the end of the ramp clear. Use the catch box. Do not stand on chairs to start a cart."),
        "source": _CP,
    },
)
_STANDARD_KEYS = frozenset((row["when"], row["text"]) for row in (*STANDARD, *RAMP))
_OURS = frozenset(WHENS) | {row[name] for row in (*STANDARD, *RAMP) for name in ("text", "source")}
_OURS |= OWN_CAUTIONS | OWN_SOURCES


def told(text: str) -> str:
    """A caution, its kind or its source for the reader: ours in the reader's language, any other as it was typed."""
    return _(text) if text in _OURS else text


def is_standard(row: Row) -> bool:
    """Whether the row is one of ours, word for word; its source is then ours too."""
    return (row.get("when"), row.get("text")) in _STANDARD_KEYS


def kinds_needed(content: Mapping[str, Any], has_kit: bool) -> set[str]:
    """Kinds of work in the plan. Printed parts also come off the plate: a kit needs the cautions for tools too."""
    kinds = {str(step.get("kind") or "") for step in rows_of(content, "steps")} & {PRINTING, TOOLS}
    if has_kit or PRINTING in kinds:
        kinds |= {PRINTING, TOOLS}
    return kinds | {ALWAYS}


def standard_for(content: Mapping[str, Any], has_kit: bool) -> list[dict[str, str]]:
    """Our cautions this plan cannot be without."""
    kinds = kinds_needed(content, has_kit)
    found = [dict(row) for row in STANDARD if row["when"] in kinds]
    experiment = content.get("experiment")
    has_ramp = isinstance(experiment, Mapping) and bool(experiment.get("track_rise_m"))
    return found + [dict(row) for row in RAMP if has_ramp]


def all_cautions(content: Mapping[str, Any], has_kit: bool) -> list[dict[str, Any]]:
    """The plan's cautions and those of ours it lacks, kind by kind in the order they are shown; a standard one has
    our source."""
    own = [dict(row) for row in rows_of(content, "cautions")]
    there = {(row.get("when"), row.get("text")) for row in own}
    found = own + [row for row in standard_for(content, has_kit) if (row["when"], row["text"]) not in there]
    sources = {(row["when"], row["text"]): row["source"] for row in (*STANDARD, *RAMP)}
    for row in found:
        row["source"] = sources.get((str(row.get("when")), str(row.get("text"))), row.get("source", ""))
    return sorted(found, key=lambda row: WHENS.index(row["when"]) if row.get("when") in WHENS else len(WHENS))


def with_standard(content: Mapping[str, Any], has_kit: bool) -> dict[str, Any]:
    """The content with no standard caution missing; unchanged when none is."""
    cautions = all_cautions(content, has_kit)
    return {**content, "cautions": cautions}


def rows_of(content: Mapping[str, Any], name: str) -> Sequence[Row]:
    """The rows of a part of the content that are tables of fields; whatever else stands there is left out."""
    value = content.get(name)
    return [row for row in value if isinstance(row, Mapping)] if isinstance(value, list) else []
