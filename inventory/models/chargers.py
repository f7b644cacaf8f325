"""Chargers, one row per place a battery can be charged at: a charger with four outputs is four rows."""

from __future__ import annotations

from django.core.validators import RegexValidator
from django.db import models
from simple_history.models import HistoricalRecords

from shared.models.base import TeamOwned
from shared.models.constraints import not_negative, positive

#: Lists of chargers in a workbook are split at semicolons.
NAME_VALIDATOR = RegexValidator(r"^[^;]*\Z", "The name of a charger has no semicolon in it.")


class Charger(TeamOwned):
    name = models.CharField(
        max_length=60, validators=[NAME_VALIDATOR], help_text="As it is labelled; one row per output"
    )
    current_a = models.FloatField(
        null=True, blank=True, help_text="What it gives in bulk charge; empty if not known"
    )
    absorption_min = models.FloatField(
        null=True,
        blank=True,
        help_text="From the end of bulk charge until full, after a match; empty: the event's value",
    )
    notes = models.CharField(max_length=200, blank=True)
    archived = models.BooleanField(default=False)
    history = HistoricalRecords()

    class Meta:
        ordering = ["name"]
        constraints = [
            models.UniqueConstraint(fields=["team", "name"], name="charger_name_once_per_team"),
            *positive("charger", "current_a"),
            *not_negative("charger", "absorption_min"),
        ]

    def __str__(self) -> str:
        return self.name
