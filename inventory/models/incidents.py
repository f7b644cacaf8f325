"""What happened to a battery that nobody planned: dropped, swollen, hot, leaking."""

from __future__ import annotations

from django.db import models
from django.db.models import Q
from simple_history.models import HistoricalRecords

from inventory.models.batteries import Battery
from shared.models.base import TeamOwned
from shared.models.constraints import one_of
from shared.models.people import User


class BatteryIncident(TeamOwned):
    class Kind(models.TextChoices):
        DROPPED = "dropped", "Dropped"
        SWOLLEN = "swollen", "Swollen"
        HOT = "hot", "Hot"
        LEAKING = "leaking", "Leaking"
        CRACKED = "cracked", "Case cracked"
        SHORTED = "shorted", "Short-circuited"
        OVER_DISCHARGED = "flat", "Run flat"
        LOOSE_LUG = "lug", "Loose lug"
        OTHER = "other", "Something else"

    #: After these nobody charges or uses the battery until a qualified adult has looked at it.
    QUARANTINES = (Kind.DROPPED, Kind.SWOLLEN, Kind.HOT, Kind.LEAKING, Kind.CRACKED, Kind.SHORTED)

    battery = models.ForeignKey(Battery, on_delete=models.CASCADE, related_name="incidents")
    happened_at = models.DateTimeField()
    kind = models.CharField(max_length=8, choices=Kind.choices)
    temperature_c = models.FloatField(null=True, blank=True, help_text="Of the case, if it was measured")
    note = models.CharField(max_length=200, blank=True)
    by = models.ForeignKey(User, null=True, blank=True, on_delete=models.SET_NULL, related_name="+")
    looked_at = models.DateTimeField(null=True, blank=True, help_text="When a qualified adult looked at it")
    finding = models.CharField(max_length=200, blank=True, help_text="What they found and decided")
    history = HistoricalRecords()

    class Meta:
        ordering = ["-happened_at"]
        constraints = [
            models.UniqueConstraint(
                fields=["battery", "happened_at", "kind"],
                name="batteryincident_once",
                violation_error_message="This incident of the battery is on record already.",
            ),
            one_of(
                "batteryincident",
                "kind",
                ["dropped", "swollen", "hot", "leaking", "cracked", "shorted", "flat", "lug", "other"],
            ),
            models.CheckConstraint(
                condition=Q(looked_at__isnull=True) | Q(looked_at__gte=models.F("happened_at")),
                name="batteryincident_looked_at_after",
                violation_error_message="It cannot have been looked at before it happened.",
            ),
        ]

    @property
    def is_grave(self) -> bool:
        """Whether nobody charges or uses the battery before a qualified adult has looked at it."""
        return self.kind in self.QUARANTINES

    def __str__(self) -> str:
        return f"{self.battery.code}: {self.get_kind_display().lower()}"
