"""What a kit part and a submission share: an uploaded file and what was measured on it."""

from __future__ import annotations

import uuid

from django.db import models
from django.utils.translation import gettext_lazy as _

from lessons.told import reworded
from meshcheck.types import Verdict


class CheckState(models.TextChoices):
    """Where the measuring of a file stands."""

    CHECKING = "checking", _("checking")
    CHECKED = "checked", _("checked")
    FAILED = "failed", _("could not be checked")


def part_path(instance: MeasuredFile, filename: str) -> str:
    """Stored by uuid: the name somebody gave never reaches the file system."""
    name = uuid.uuid4().hex
    return f"parts/{name[:2]}/{name}"


class MeasuredFile(models.Model):
    """A mesh file and its report. The columns beside ``report`` are what lists and the plan need."""

    school_path = "school_id"  # how a query gets to the school

    file = models.FileField(upload_to=part_path, max_length=120)
    file_name = models.CharField(max_length=120)
    file_bytes = models.PositiveIntegerField(default=0)
    sha256 = models.CharField(max_length=64, db_index=True)
    unit = models.CharField(
        max_length=12, blank=True, help_text=_("length unit to read the file in; empty: found by the check")
    )

    # a 3 x 3 rotation that lays the part for printing otherwise than it is drawn; the file itself is never changed
    pose = models.JSONField(null=True, blank=True)

    check_state = models.CharField(max_length=8, choices=CheckState.choices, default=CheckState.CHECKING)
    check_error = models.TextField(blank=True)
    checked_at = models.DateTimeField(null=True, blank=True)
    check_s = models.FloatField(null=True, blank=True)

    verdict = models.CharField(max_length=10, choices=[(v.value, v.value) for v in Verdict], blank=True)
    report = models.JSONField(null=True, blank=True)  # as written by meshcheck.check.report_json
    picture = models.TextField(blank=True)  # SVG drawn by meshcheck.picture
    shown = models.JSONField(null=True, blank=True)  # facts of meshcheck.shown, bed_mm and the key of lessons.showing
    # of one part, as its report's signature has it: by it the same design is looked for
    design_volume_mm3 = models.FloatField(null=True, blank=True)
    copies_in_file = models.PositiveSmallIntegerField(default=1)
    mass_g = models.FloatField(null=True, blank=True)
    duration_s = models.FloatField(null=True, blank=True)
    width_mm = models.FloatField(null=True, blank=True)
    depth_mm = models.FloatField(null=True, blank=True)
    height_mm = models.FloatField(null=True, blank=True)

    class Meta:
        abstract = True

    @property
    def is_printable(self) -> bool:
        """Measured, with grams and minutes: it can stand on a plate."""
        return self.check_state == CheckState.CHECKED and self.mass_g is not None and self.duration_s is not None

    @property
    def findings(self) -> list[dict[str, object]]:
        """What the check says, in the reader's language."""
        return [reworded(finding) for finding in self.report["findings"]] if self.report else []
