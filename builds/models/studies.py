"""Match studies: what was worked out for one build with one battery, kept by the content it was worked out from."""

from __future__ import annotations

from django.db import models
from django.db.models import Q

from builds.models.robots import Build
from inventory.models import Battery
from shared.models.base import TeamOwned
from shared.models.constraints import positive


class MatchStudy(TeamOwned):
    """The outcome of simulated matches. It can be worked out again at any time, so it keeps no history."""

    build = models.ForeignKey(Build, on_delete=models.CASCADE, related_name="match_studies")
    battery = models.ForeignKey(
        Battery,
        null=True,
        blank=True,
        on_delete=models.CASCADE,
        related_name="match_studies",
        help_text="Empty: a new battery of the build's model",
    )
    key = models.CharField(
        max_length=64, help_text="Hash of everything it was worked out from: build, battery and profiles"
    )
    runs = models.PositiveIntegerField(help_text="How many matches were simulated, each with other timing")
    duration_s = models.FloatField(help_text="Length of a simulated match")
    seed = models.PositiveIntegerField(
        default=0, help_text="Start of the random timing, to repeat it exactly"
    )
    outcome = models.JSONField(default=dict, blank=True, help_text="Figures and traces of the answer")
    computed_at = models.DateTimeField()

    class Meta:
        ordering = ["build", "-computed_at"]
        verbose_name_plural = "match studies"
        constraints = [
            models.UniqueConstraint(fields=["build", "battery", "key"], name="matchstudy_once_per_battery"),
            models.UniqueConstraint(
                fields=["build", "key"], condition=Q(battery__isnull=True), name="matchstudy_once_as_new"
            ),
            *positive("matchstudy", "runs", "duration_s"),
        ]

    def __str__(self) -> str:
        return f"Match study of {self.build} with {self.battery or 'a new battery'}"
