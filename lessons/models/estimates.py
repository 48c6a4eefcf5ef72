"""What kit parts would weigh and take with print settings somebody asked about."""

from __future__ import annotations

from django.db import models

from lessons.models.plans import KitPart


class PartEstimate(models.Model):
    """Grams and minutes of a kit part's mesh under one set of print settings, kept so that asking again is quick.

    ``key`` is the sha256 of the file, how it lies, the settings and the machine; ``unknown`` says why there are no
    figures.
    """

    kit_part = models.ForeignKey(KitPart, on_delete=models.CASCADE, related_name="estimates")
    key = models.CharField(max_length=64)
    mass_g = models.FloatField(null=True, blank=True)
    duration_s = models.FloatField(null=True, blank=True)
    unknown = models.TextField(blank=True)
    made_at = models.DateTimeField(auto_now_add=True, db_index=True)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["kit_part", "key"], name="one_estimate_of_a_part_and_key")]

    def __str__(self) -> str:
        return f"{self.kit_part}: {self.unknown or f'{self.mass_g} g'}"
