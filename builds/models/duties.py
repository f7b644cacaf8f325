"""Duty profiles: how a load is used over a match, as phases that repeat."""

from __future__ import annotations

from django.db import models
from simple_history.models import HistoricalRecords

from shared.models.base import TeamOwned
from shared.models.constraints import fraction, positive
from shared.models.people import CODE_VALIDATOR


class DutyProfile(TeamOwned):
    """How a load is used during a match: phases one after the other, then from the start again."""

    code = models.CharField(
        max_length=40, validators=[CODE_VALIDATOR], help_text="Short name, chosen at each circuit"
    )
    name = models.CharField(max_length=80, help_text="How people call this way of using it")
    notes = models.TextField(blank=True)
    history = HistoricalRecords()

    class Meta:
        ordering = ["code"]
        constraints = [
            models.UniqueConstraint(fields=["team", "code"], name="dutyprofile_code_once_per_team")
        ]

    def __str__(self) -> str:
        return f"{self.code} {self.name}"


class DutyPhase(TeamOwned):
    """One phase of a profile: for so long, this share of the load's draw."""

    profile = models.ForeignKey(DutyProfile, on_delete=models.CASCADE, related_name="phases")
    place = models.PositiveSmallIntegerField(help_text="Its place in the order of the phases, from 1")
    name = models.CharField(max_length=40, help_text="What happens: idle, cruise, push, lift")
    lasts_s = models.FloatField(help_text="How long the phase lasts")
    draw_frac = models.FloatField(
        help_text="Motors: share of full power commanded; other loads: share of their highest current"
    )
    torque_frac = models.FloatField(
        default=0.0,
        help_text="Motors: torque the load asks for, as a share of the stall torque; 0 for other loads",
    )
    history = HistoricalRecords()

    class Meta:
        ordering = ["profile", "place"]
        constraints = [
            models.UniqueConstraint(fields=["profile", "place"], name="dutyphase_place_once_per_profile"),
            *positive("dutyphase", "place", "lasts_s"),
            *fraction("dutyphase", "draw_frac", "torque_frac"),
        ]

    def __str__(self) -> str:
        return f"{self.profile.code} {self.place} {self.name}"
