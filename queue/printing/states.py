"""Where a copy and a plate can go from where they stand: one table each, read by actions, pages and tests."""

from __future__ import annotations

from django.db import models
from django.utils.translation import gettext_lazy as _


class CopyState(models.TextChoices):
    """One wanted copy of a part, from the queue to the tray."""

    WAITING = "waiting", _("waiting")  # in the queue, on no plate yet
    PLANNED = "planned", _("planned")  # on a plate that has not started
    PRINTING = "printing", _("printing")
    IN_TRAY = "in_tray", _("in the tray")
    CANCELLED = "cancelled", _("no longer wanted")


COPY_TRANSITIONS: dict[tuple[str, str], str] = {
    (CopyState.WAITING, "lay_out"): CopyState.PLANNED,
    (CopyState.PLANNED, "take_off"): CopyState.WAITING,
    (CopyState.PLANNED, "start"): CopyState.PRINTING,
    (CopyState.PRINTING, "good"): CopyState.IN_TRAY,
    (CopyState.PRINTING, "lost"): CopyState.WAITING,  # back in the queue by itself
    (CopyState.WAITING, "cancel"): CopyState.CANCELLED,
    (CopyState.PLANNED, "cancel"): CopyState.CANCELLED,
    # for ten minutes
    (CopyState.PRINTING, "undo_start"): CopyState.PLANNED,
    (CopyState.IN_TRAY, "undo_clear"): CopyState.PRINTING,
    (CopyState.WAITING, "undo_clear"): CopyState.PRINTING,
    (CopyState.PLANNED, "undo_clear"): CopyState.PRINTING,
}


class PlateState(models.TextChoices):
    """A plate, from the plan to the cleared bed."""

    PLANNED = "planned", _("planned")
    PRINTING = "printing", _("printing")
    CLEARED = "cleared", _("cleared")


PLATE_TRANSITIONS: dict[tuple[str, str], str] = {
    (PlateState.PLANNED, "start"): PlateState.PRINTING,
    (PlateState.PRINTING, "clear"): PlateState.CLEARED,
    (PlateState.PRINTING, "undo_start"): PlateState.PLANNED,  # for ten minutes
    (PlateState.CLEARED, "undo_clear"): PlateState.PRINTING,
}


class Outcome(models.TextChoices):
    """How a run went."""

    RUNNING = "running", _("printing")
    FINISHED = "finished", _("finished")
    PARTLY_GOOD = "partly_good", _("partly good")
    FAILED = "failed", _("failed")
    STOPPED = "stopped", _("stopped by staff")


class FailureReason(models.TextChoices):
    """Why a copy was lost. Trade terms (common practice, no source)."""

    CAME_OFF = "came_off", _("Came off the bed")
    WARPED = "warped", _("Warped")
    SPAGHETTI = "spaghetti", _("Spaghetti")
    JAM = "jam", _("Jam or too little plastic")
    LAYER_SHIFT = "layer_shift", _("Layers shifted")
    RAN_OUT = "ran_out", _("Ran out of filament")
    POWER = "power", _("Power or network")
    SUPPORT = "support", _("Support failed")
    WRONG_FILE = "wrong_file", _("Wrong file or scale")
    BROKE = "broke", _("Broke when removed")
    STOPPED = "stopped", _("Stopped by staff")


class NotAllowedNow(Exception):
    """Somebody else was quicker, or the step does not fit. The message is shown to people."""
