"""Will this spool last for this plate: the answer as pages say it, with its margin and spread."""

from __future__ import annotations

from dataclasses import dataclass

from django.utils.translation import gettext as _

from makerlab.components.figures import grams
from makerlab.components.marks import Mark
from planning.learned import Learned
from planning.spools import Lasts, Weighed, will_last
from printing.chance import in_100
from printing.learning import lesson_of
from printing.models import Plate, Printer, Spool

WEIGHED_SPREAD_G = 5.0  # how well a weighed spool is known: scale and tare (as planning.spools takes them)
UNWEIGHED_SHARE = 0.1  # of what was printed from it since it was full (our own choice, no source)
MARKS: dict[Lasts, tuple[str, str]] = {
    Lasts.YES: ("good", "s-done"),
    Lasts.PROBABLY: ("care", "s-late"),
    Lasts.NO: ("bad", "s-fix"),
}


@dataclass(frozen=True)
class Outlook:
    """``need`` is the middle of what the plate takes on that printer, ``low`` to ``high`` where nine of ten runs lie;
    ``spare_g`` what is left after it (below zero: missing)."""

    lasts: Lasts
    mark: Mark
    words: str
    need_g: float
    low_g: float
    high_g: float
    spare_g: float
    weighed_runs: int

    @property
    def is_sure(self) -> bool:
        return self.lasts is Lasts.YES


def left_on(spool: Spool, taken_g: float = 0.0) -> Weighed:
    """What is on the spool once ``taken_g`` more were printed from it, with how well that is known: after weighing to a
    few grams, else by the estimates of what was printed from it."""
    used_g = max(0.0, spool.grams_full - spool.grams_left)
    spread = WEIGHED_SPREAD_G if spool.weighed_at else max(WEIGHED_SPREAD_G, UNWEIGHED_SHARE * used_g)
    left_g = max(0.0, spool.grams_left - taken_g)
    return Weighed(left_g, max(0.0, left_g - spread), left_g + spread)


def will_it_last(plate: Plate, printer: Printer, spool: Spool, learned: Learned, taken_g: float = 0.0) -> Outlook:
    """Whether the spool lasts for the plate on that printer, whose weighed runs say how true the grams are;
    ``taken_g``: what plates before it will take."""
    calibration = lesson_of(learned, printer, plate.material).calibration
    need = calibration.grams(plate.mass_g)
    found = will_last(left_on(spool, taken_g), need)
    kind, icon = MARKS[found.lasts]
    return Outlook(
        lasts=found.lasts,
        mark=Mark(kind, icon, _short(found.lasts, in_100(found.chance) or 0)),
        words=_sentence(found.lasts, found.spare_g),
        need_g=need.mean,
        low_g=need.run.low,
        high_g=need.run.high,
        spare_g=found.spare_g,
        weighed_runs=calibration.weighed,
    )


def _short(lasts: Lasts, chance: int) -> str:
    words = {
        Lasts.YES: _("lasts"),
        Lasts.PROBABLY: _("may not last, %(chance)d in 100 that it does"),
        Lasts.NO: _("does not last"),
    }
    return words[lasts] % {"chance": chance}


def _sentence(lasts: Lasts, spare_g: float) -> str:
    if lasts is Lasts.YES:
        return _("about %(grams)s to spare") % {"grams": grams(spare_g)}
    if spare_g >= 0:
        return _("only about %(grams)s to spare: stand by to change it, or take another") % {"grams": grams(spare_g)}
    return _("about %(grams)s are missing") % {"grams": grams(-spare_g)}
