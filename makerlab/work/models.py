"""Background work: the row is the job, a broker is only a doorbell."""

from __future__ import annotations

from django.db import models
from django.utils.translation import gettext_lazy as _

from makerlab.work.lanes import Lane


class Job(models.Model):
    """One piece of work for one subject. Every write is conditional on state and attempt, so that a worker
    that was killed, or woke up late, can neither lose a job nor apply it twice."""

    class State(models.TextChoices):
        WAITING = "waiting", _("waiting")
        RUNNING = "running", _("running")
        DONE = "done", _("done")
        FAILED = "failed", _("failed")

    kind = models.CharField(max_length=40)
    lane = models.CharField(max_length=16, choices=Lane.choices)
    subject = models.CharField(max_length=40)
    school = models.ForeignKey("accounts.School", on_delete=models.CASCADE, related_name="jobs")
    payload = models.JSONField(default=dict, blank=True)
    priority = models.SmallIntegerField(default=0, help_text=_("lower runs first"))
    turn = models.PositiveBigIntegerField(
        default=0, db_default=0, help_text=_("of equal priority, lower runs first: schools take turns")
    )

    state = models.CharField(max_length=8, choices=State.choices, default=State.WAITING)
    attempt = models.PositiveSmallIntegerField(default=0)
    worker = models.CharField(max_length=120, blank=True)
    lease_until = models.DateTimeField(null=True, blank=True)
    progress = models.FloatField(default=0.0)
    error = models.TextField(blank=True)

    created_at = models.DateTimeField(auto_now_add=True)
    started_at = models.DateTimeField(null=True, blank=True)
    finished_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        indexes = [
            models.Index(fields=["state", "lane", "priority", "turn", "id"]),
            models.Index(fields=["school", "lane", "state", "turn"]),
            models.Index(fields=["kind", "subject", "-id"]),
            models.Index(fields=["lane", "state", "-finished_at"]),
        ]
        constraints = [
            models.CheckConstraint(
                condition=~models.Q(state="running") | models.Q(lease_until__isnull=False),
                name="a_running_job_has_a_lease",
            )
        ]

    def __str__(self) -> str:
        return f"{self.kind} {self.subject} ({self.state}, attempt {self.attempt})"

    @property
    def is_open(self) -> bool:
        return self.state in {self.State.WAITING, self.State.RUNNING}


class Heartbeat(models.Model):
    """A worker process and when it was last heard of."""

    worker = models.CharField(max_length=120, unique=True)
    lanes = models.JSONField(default=list)
    seen_at = models.DateTimeField()

    def __str__(self) -> str:
        return f"{self.worker} serves {', '.join(self.lanes)}"
