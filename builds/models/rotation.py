"""Which battery goes out for which match: how an event handles its batteries, and the plans made for it."""

from __future__ import annotations

from django.db import models
from django.db.models import Q
from simple_history.models import HistoricalRecords

from builds.models.events import Event, Match
from inventory.models import Battery, Charger
from shared.models.base import TeamOwned
from shared.models.constraints import fraction, not_negative, one_of
from shared.models.jobs import JobRun
from shared.models.people import User


class Handling(TeamOwned):
    """How long each step of a battery's way round the pit takes at one event. Defaults: common practice."""

    event = models.OneToOneField(Event, on_delete=models.CASCADE, related_name="handling")
    ready_before_min = models.FloatField(default=15, help_text="In the robot this long before its match")
    back_after_min = models.FloatField(default=10, help_text="Back on the cart this long after a match began")
    cool_min = models.FloatField(default=20, help_text="Cools this long before it goes on a charger")
    absorption_min = models.FloatField(
        default=60, help_text="From the end of bulk charge until full, where the charger does not say"
    )
    rest_min = models.FloatField(default=5, help_text="Rests this long after its charge")
    least_charge_frac = models.FloatField(
        default=0.85, help_text="Goes out only with at least this state of charge"
    )
    history = HistoricalRecords()

    class Meta:
        constraints = [
            *not_negative(
                "handling", "ready_before_min", "back_after_min", "cool_min", "absorption_min", "rest_min"
            ),
            *fraction("handling", "least_charge_frac"),
        ]

    def __str__(self) -> str:
        return f"Handling at {self.event.name}"


class RotationPlan(TeamOwned):
    """One plan for an event. The current one is what the pit follows; earlier ones show what changed."""

    class State(models.TextChoices):
        WORKING = "working", "Being worked out"
        READY = "ready", "Ready"
        SHORT = "short", "Some matches have no battery"
        FAILED = "failed", "Not worked out"

    class Reason(models.TextChoices):
        FIRST = "first", "First plan"
        TIMES = "times", "Match times changed"
        MATCHES = "matches", "Matches added or called off"
        BATTERIES = "cart", "A battery joined or left the cart"
        SWAP = "swap", "A swap went differently"
        ASKED = "asked", "Asked for anew"

    event = models.ForeignKey(Event, on_delete=models.CASCADE, related_name="plans")
    asked_at = models.DateTimeField()
    by = models.ForeignKey(User, null=True, blank=True, on_delete=models.SET_NULL, related_name="+")
    reason = models.CharField(max_length=8, choices=Reason.choices)
    state = models.CharField(max_length=8, choices=State.choices, default=State.WORKING)
    current = models.BooleanField(default=False)
    instant = models.BooleanField(default=False, help_text="First answer, before the search is done")
    proven = models.BooleanField(default=False, help_text="No better plan exists under these rules")
    gap_v = models.FloatField(
        null=True, blank=True, help_text="How much better the worst margin could be at most"
    )
    worst_margin_v = models.FloatField(null=True, blank=True)
    solve_s = models.FloatField(null=True, blank=True)
    content_key = models.CharField(max_length=64, help_text="Of everything the plan was worked out from")
    told = models.JSONField(default=dict, blank=True, help_text="Sentences and figures beside the plan")
    run = models.ForeignKey(JobRun, null=True, blank=True, on_delete=models.SET_NULL, related_name="+")

    class Meta:
        ordering = ["-asked_at", "-pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["event"], condition=Q(current=True), name="rotationplan_one_current_per_event"
            ),
            one_of("rotationplan", "state", ["working", "ready", "short", "failed"]),
            one_of("rotationplan", "reason", ["first", "times", "matches", "cart", "swap", "asked"]),
            *not_negative("rotationplan", "gap_v", "solve_s"),
        ]

    def __str__(self) -> str:
        return f"Rotation of {self.event.name}, {self.asked_at:%Y-%m-%d %H:%M}"


class RotationStep(TeamOwned):
    """One match of a plan with its battery and the charge before it; no battery when none is fit and charged."""

    plan = models.ForeignKey(RotationPlan, on_delete=models.CASCADE, related_name="steps")
    match = models.ForeignKey(Match, on_delete=models.CASCADE, related_name="+")
    battery = models.ForeignKey(
        Battery, null=True, blank=True, on_delete=models.CASCADE, related_name="rotation_steps"
    )
    was = models.ForeignKey(
        Battery, null=True, blank=True, on_delete=models.SET_NULL, related_name="+",
        help_text="What the plan before had here, where it was another",
    )  # fmt: skip
    fixed = models.BooleanField(default=False, help_text="Happened already, or is happening")
    charge_frac = models.FloatField(null=True, blank=True, help_text="State of charge when it goes out")
    lowest_v = models.FloatField(null=True, blank=True, help_text="Lowest board voltage expected")
    margin_v = models.FloatField(null=True, blank=True, help_text="Above the highest brown-out level")
    charger = models.ForeignKey(Charger, null=True, blank=True, on_delete=models.SET_NULL, related_name="+")
    charge_from = models.DateTimeField(null=True, blank=True)
    charge_until = models.DateTimeField(null=True, blank=True)
    ready_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["match__starts_at", "pk"]
        constraints = [
            models.UniqueConstraint(fields=["plan", "match"], name="rotationstep_once_per_match"),
            *fraction("rotationstep", "charge_frac"),
            models.CheckConstraint(
                condition=Q(charge_until__isnull=True) | Q(charge_until__gte=models.F("charge_from")),
                name="rotationstep_charge_ends_after_start",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.match.number}: {self.battery.code if self.battery else 'no battery'}"
