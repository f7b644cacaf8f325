"""Flags: what a sweep found. One row per rule and subject for ever; its events tell its history."""

from __future__ import annotations

from django.db import models
from django.db.models import Q
from simple_history.models import HistoricalRecords

from shared.models.base import TeamOwned
from shared.models.constraints import one_of
from shared.models.jobs import JobRun
from shared.models.people import User


class Severity(models.TextChoices):
    STOP = "stop", "Stop"
    FIX = "fix", "Fix"
    WATCH = "watch", "Watch"
    UNKNOWN = "unknown", "Cannot judge"


class FlagState(models.TextChoices):
    OPEN = "open", "Open"
    CLEARED = "cleared", "Cleared"


class SubjectKind(models.TextChoices):
    BATTERY = "battery", "Battery"
    CIRCUIT = "circuit", "Circuit"
    BUILD = "build", "Build"
    PART = "part", "Part"


class Flag(TeamOwned):
    """What one rule says of one subject. Whether it is waived is read from its waivers, so a waiver ends by itself."""

    rule_code = models.CharField(max_length=40)
    sweep = models.CharField(max_length=10, help_text="batteries, loads or stock")
    subject_kind = models.CharField(max_length=8, choices=SubjectKind.choices)
    subject_id = models.BigIntegerField()
    subject_label = models.CharField(max_length=160)
    severity = models.CharField(max_length=8, choices=Severity.choices)
    state = models.CharField(max_length=8, choices=FlagState.choices, default=FlagState.OPEN)
    message = models.CharField(max_length=400)
    value = models.FloatField(null=True)
    limit = models.FloatField(null=True)
    unit = models.CharField(max_length=12, blank=True)
    working = models.JSONField(default=dict, help_text="Formula, numbers put in, limit, source")
    opened_at = models.DateTimeField()
    changed_at = models.DateTimeField()
    cleared_at = models.DateTimeField(null=True, blank=True)
    cleared_reason = models.CharField(max_length=200, blank=True)
    run = models.ForeignKey(JobRun, null=True, blank=True, on_delete=models.SET_NULL, related_name="+")

    class Meta:
        ordering = ["-opened_at", "-pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["rule_code", "subject_kind", "subject_id"], name="flag_once_per_rule_and_subject"
            ),
            one_of("flag", "severity", Severity.values),
            one_of("flag", "state", FlagState.values),
            one_of("flag", "subject_kind", SubjectKind.values),
            one_of("flag", "sweep", ["batteries", "loads", "stock"]),
            models.CheckConstraint(
                condition=Q(state="open", cleared_at__isnull=True)
                | Q(state="cleared", cleared_at__isnull=False),
                name="flag_cleared_has_time",
            ),
        ]
        indexes = [
            models.Index(fields=["team", "sweep"], name="flag_team_sweep"),
            models.Index(fields=["team", "state", "severity"], name="flag_team_open"),
            models.Index(fields=["subject_kind", "subject_id"], name="flag_subject"),
        ]

    def __str__(self) -> str:
        return f"{self.rule_code} {self.subject_label}"


class FlagEvent(models.Model):
    """A line of a flag's history. Append-only."""

    class Kind(models.TextChoices):
        OPENED = "opened", "Opened"
        ESCALATED = "escalated", "Escalated"
        EASED = "eased", "Eased"
        CLEARED = "cleared", "Cleared"
        REOPENED = "reopened", "Opened again"
        WAIVED = "waived", "Waived"
        WAIVER_ENDED = "unwaived", "Waiver withdrawn"

    flag = models.ForeignKey(Flag, on_delete=models.CASCADE, related_name="events")
    at = models.DateTimeField()
    kind = models.CharField(max_length=10, choices=Kind.choices)
    severity = models.CharField(max_length=8, choices=Severity.choices)
    detail = models.CharField(max_length=400, blank=True)
    by = models.ForeignKey(User, null=True, blank=True, on_delete=models.SET_NULL, related_name="+")
    run = models.ForeignKey(JobRun, null=True, blank=True, on_delete=models.SET_NULL, related_name="+")

    class Meta:
        ordering = ["at", "pk"]
        indexes = [models.Index(fields=["flag", "at"], name="flagevent_flag_at")]

    def __str__(self) -> str:
        return f"{self.get_kind_display()} {self.at:%Y-%m-%d %H:%M}"


class Waiver(TeamOwned):
    """A mentor takes responsibility for a flag until a day, and says why."""

    flag = models.ForeignKey(Flag, on_delete=models.CASCADE, related_name="waivers")
    reason = models.CharField(max_length=400)
    until = models.DateField(help_text="The last day on which the waiver holds")
    by = models.ForeignKey(User, null=True, on_delete=models.SET_NULL, related_name="+")
    withdrawn_at = models.DateTimeField(null=True, blank=True)
    history = HistoricalRecords()

    class Meta:
        ordering = ["-until"]
        constraints = [
            models.UniqueConstraint(
                fields=["flag"],
                condition=Q(withdrawn_at__isnull=True),
                name="waiver_one_standing_per_flag",
                violation_error_message="This flag already has a waiver. Withdraw it first.",
            ),
            models.CheckConstraint(condition=~Q(reason=""), name="waiver_has_reason"),
        ]

    def __str__(self) -> str:
        return f"{self.flag} until {self.until}"
