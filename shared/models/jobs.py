"""One row per run of a background job: the row is the job, a broker message only a nudge to look at it."""

from __future__ import annotations

from django.db import models
from django.db.models import Q


class JobRun(models.Model):
    """A run of a named job, for one team (``team`` set) or for a chunk of teams (``team_ids``), or for all.

    ``dedupe_key`` holds the identity of a queued run, so that ten edits in a second queue one sweep.
    A running row carries a lease; when its worker is killed the lease runs out and the next worker takes the row.
    """

    class State(models.TextChoices):
        QUEUED = "queued", "Queued"
        RUNNING = "running", "Running"
        DONE = "done", "Done"
        FAILED = "failed", "Failed"

    class Trigger(models.TextChoices):
        SCHEDULE = "schedule", "On schedule"
        EDIT = "edit", "After an edit"
        IMPORT = "import", "After an import"
        PERSON = "person", "Asked for by a person"
        COMMAND = "command", "From the command line"
        PARENT = "parent", "Part of a larger run"

    name = models.CharField(max_length=60)
    team = models.ForeignKey("shared.Team", null=True, blank=True, on_delete=models.CASCADE, related_name="+")
    arguments = models.JSONField(default=dict, blank=True)
    dedupe_key = models.CharField(max_length=200)
    parent = models.ForeignKey(
        "self", null=True, blank=True, on_delete=models.CASCADE, related_name="children"
    )
    state = models.CharField(max_length=8, choices=State.choices, default=State.QUEUED)
    trigger = models.CharField(max_length=8, choices=Trigger.choices)
    asked_by = models.ForeignKey(
        "shared.User", null=True, blank=True, on_delete=models.SET_NULL, related_name="+"
    )
    asked_at = models.DateTimeField()
    not_before = models.DateTimeField(
        help_text="Debounce: edits that follow each other closely share one run"
    )
    started_at = models.DateTimeField(null=True, blank=True)
    finished_at = models.DateTimeField(null=True, blank=True)
    lease_until = models.DateTimeField(null=True, blank=True)
    attempts = models.PositiveSmallIntegerField(default=0)
    progress_frac = models.FloatField(default=0.0)
    counts = models.JSONField(
        default=dict, blank=True, help_text="What the run looked at and what it changed"
    )
    error = models.TextField(blank=True)

    class Meta:
        ordering = ["-asked_at", "-pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["dedupe_key"], condition=Q(state="queued"), name="jobrun_one_queued_per_key"
            ),
            models.CheckConstraint(
                condition=Q(state__in=["queued", "running", "done", "failed"]), name="jobrun_state_known"
            ),
            models.CheckConstraint(
                condition=~Q(state="running") | Q(lease_until__isnull=False), name="jobrun_running_has_lease"
            ),
            models.CheckConstraint(
                condition=Q(progress_frac__gte=0) & Q(progress_frac__lte=1), name="jobrun_progress_frac"
            ),
        ]
        indexes = [
            models.Index(
                fields=["not_before"], condition=Q(state__in=["queued", "running"]), name="jobrun_due"
            ),
            models.Index(fields=["name", "-finished_at"], name="jobrun_last_of_name"),
            models.Index(fields=["team", "-asked_at"], name="jobrun_team_recent"),
        ]

    def __str__(self) -> str:
        return f"{self.name} ({self.get_state_display()})"

    @property
    def duration_s(self) -> float | None:
        if self.started_at is None or self.finished_at is None:
            return None
        return (self.finished_at - self.started_at).total_seconds()
