"""Rule packs: the limits the rules use, as data a team can edit, keep per season and pass on as a file."""

from __future__ import annotations

from django.db import models
from simple_history.models import HistoricalRecords

from builds.models import Season
from compliance.models.flags import Severity
from shared.models.base import TeamOwned


class RulePack(TeamOwned):
    """A named set of rule settings. Without one, the defaults written beside each rule apply."""

    name = models.CharField(max_length=80)
    season = models.ForeignKey(
        Season,
        null=True,
        blank=True,
        on_delete=models.CASCADE,
        related_name="rule_packs",
        help_text="Judges this season's robots; empty: judges everything without a pack of its own",
    )
    source = models.CharField(
        max_length=200, blank=True, help_text="Whose rules these are, and their edition"
    )
    notes = models.TextField(blank=True)
    history = HistoricalRecords()

    class Meta:
        ordering = ["name"]
        constraints = [
            models.UniqueConstraint(fields=["team", "name"], name="rulepack_name_once_per_team"),
            models.UniqueConstraint(
                fields=["team", "season"],
                name="rulepack_one_per_season",
                violation_error_message="This season already has a rule pack.",
            ),
            models.UniqueConstraint(
                fields=["team"],
                condition=models.Q(season__isnull=True),
                name="rulepack_one_general",
                violation_error_message="The team already has a general rule pack.",
            ),
        ]

    def __str__(self) -> str:
        return self.name


class RuleSetting(TeamOwned):
    """What a pack changes of one rule: switched off, another severity, other limits."""

    pack = models.ForeignKey(RulePack, on_delete=models.CASCADE, related_name="settings")
    rule_code = models.CharField(max_length=40)
    enabled = models.BooleanField(default=True)
    severity = models.CharField(
        max_length=8, choices=Severity.choices, blank=True, help_text="Empty: as the rule says"
    )
    limits = models.JSONField(
        default=dict, blank=True, help_text="Only the limits that differ from the defaults"
    )
    source = models.CharField(max_length=200, blank=True)
    history = HistoricalRecords()

    class Meta:
        ordering = ["pack", "rule_code"]
        constraints = [
            models.UniqueConstraint(fields=["pack", "rule_code"], name="rulesetting_once_per_rule")
        ]

    def __str__(self) -> str:
        return f"{self.pack.name}: {self.rule_code}"
