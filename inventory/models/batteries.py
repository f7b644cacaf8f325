"""Batteries one by one: readings, charges, capacity tests. What one did in a match lives in builds (outings)."""

from __future__ import annotations

from django.db import models
from django.db.models import Q
from simple_history.models import HistoricalRecords

from inventory.models.catalogue import BatteryModel
from inventory.models.chargers import Charger
from inventory.volts import VoltValidator
from shared.models.base import TeamOwned
from shared.models.constraints import fraction, not_negative, one_of, positive
from shared.models.people import CODE_VALIDATOR, User


class BatteryState(models.TextChoices):
    IN_SERVICE = "service", "In service"
    PRACTICE = "practice", "Practice only"
    QUARANTINE = "quarantine", "Quarantined"
    RETIRED = "retired", "Retired"


class Method(models.TextChoices):
    """How a resistance was measured. Only readings of one method (and one instrument) can be compared."""

    AC_1KHZ = "ac1k", "AC, 1 kHz"
    TWO_PULSE = "pulse2", "Two-pulse DC"
    LOAD_STEP = "step", "Load step DC"


class Battery(TeamOwned):
    code = models.CharField(max_length=40, validators=[CODE_VALIDATOR], help_text="As written on its case")
    model = models.ForeignKey(BatteryModel, on_delete=models.PROTECT, related_name="batteries")
    serial = models.CharField(max_length=60, blank=True)
    acquired_on = models.DateField()
    in_service_on = models.DateField(null=True, blank=True, help_text="First use; age counts from here")
    cycles_at_intake = models.PositiveIntegerField(
        default=0, help_text="Charge cycles before it was entered here"
    )
    state = models.CharField(max_length=10, choices=BatteryState.choices, default=BatteryState.IN_SERVICE)
    state_reason = models.CharField(max_length=200, blank=True, help_text="Why it is not in service")
    notes = models.TextField(blank=True)
    archived = models.BooleanField(default=False)
    history = HistoricalRecords()

    class Meta:
        ordering = ["code"]
        verbose_name_plural = "batteries"
        constraints = [
            models.UniqueConstraint(fields=["team", "code"], name="battery_code_once_per_team"),
            one_of("battery", "state", BatteryState.values),
            models.CheckConstraint(
                condition=Q(state="service") | ~Q(state_reason=""),
                name="battery_reason_when_out_of_service",
                violation_error_message="Say why the battery is not in service.",
            ),
        ]

    def __str__(self) -> str:
        return self.code


class Reading(TeamOwned):
    """One resistance reading with everything that decides what it may be compared with."""

    battery = models.ForeignKey(Battery, on_delete=models.CASCADE, related_name="readings")
    taken_at = models.DateTimeField()
    resistance_mohm = models.FloatField()
    method = models.CharField(max_length=8, choices=Method.choices)
    instrument = models.CharField(max_length=60, help_text="The meter used; a new one opens a new baseline")
    rest_v = models.FloatField(
        null=True,
        blank=True,
        validators=[VoltValidator("rest")],
        help_text="Voltage at rest, before the measurement",
    )
    rest_h = models.FloatField(null=True, blank=True, help_text="Hours since charging or use ended")
    temperature_c = models.FloatField(null=True, blank=True)
    charge_frac = models.FloatField(
        null=True, blank=True, help_text="State of charge, if the instrument gives one"
    )
    by = models.ForeignKey(User, null=True, blank=True, on_delete=models.SET_NULL, related_name="+")
    note = models.CharField(max_length=200, blank=True)
    history = HistoricalRecords()

    class Meta:
        ordering = ["battery", "taken_at"]
        constraints = [
            models.UniqueConstraint(
                fields=["battery", "taken_at", "instrument"],
                name="reading_once_per_moment_and_instrument",
                violation_error_message="This battery already has a reading of that moment with that instrument.",
            ),
            models.CheckConstraint(
                condition=Q(resistance_mohm__gte=1) & Q(resistance_mohm__lte=500),
                name="reading_resistance_plausible",
                violation_error_message=(
                    "A 12 V battery reads between 1 and 500 mohm. Was the value in ohm? 0.015 ohm is 15 mohm."
                ),
            ),
            one_of("reading", "method", Method.values),
            *positive("reading", "rest_v"),
            *not_negative("reading", "rest_h"),
            *fraction("reading", "charge_frac"),
        ]
        indexes = [models.Index(fields=["team", "-taken_at"], name="reading_team_recent")]

    def __str__(self) -> str:
        return f"{self.battery.code}: {self.resistance_mohm:.1f} mohm"


class Charge(TeamOwned):
    """One charge of a battery; ``ended_at`` is empty while it is on the charger."""

    class Purpose(models.TextChoices):
        FIRST = "first", "First charge"
        AFTER_USE = "use", "After use"
        TOP_UP = "topup", "Storage top-up"

    #: What counts as a cycle: a top-up in storage puts back what the battery lost by itself.
    CYCLES = (Purpose.FIRST, Purpose.AFTER_USE)

    battery = models.ForeignKey(Battery, on_delete=models.CASCADE, related_name="charges")
    charger = models.ForeignKey(Charger, on_delete=models.PROTECT, related_name="charges")
    purpose = models.CharField(max_length=5, choices=Purpose.choices, default=Purpose.AFTER_USE)
    started_at = models.DateTimeField()
    ended_at = models.DateTimeField(null=True, blank=True)
    returned_ah = models.FloatField(
        null=True, blank=True, help_text="Charge returned, if the charger shows it"
    )
    by = models.ForeignKey(User, null=True, blank=True, on_delete=models.SET_NULL, related_name="+")
    history = HistoricalRecords()

    class Meta:
        ordering = ["battery", "started_at"]
        constraints = [
            models.UniqueConstraint(fields=["battery", "started_at"], name="charge_once_per_start"),
            models.UniqueConstraint(
                fields=["battery"],
                condition=Q(ended_at__isnull=True),
                name="charge_one_open_per_battery",
                violation_error_message="This battery is already on a charger. End that charge first.",
            ),
            models.UniqueConstraint(
                fields=["charger"],
                condition=Q(ended_at__isnull=True),
                name="charge_one_open_per_charger",
                violation_error_message="Another battery is on this charger. Take that one off first.",
            ),
            one_of("charge", "purpose", ["first", "use", "topup"]),
            models.CheckConstraint(
                condition=Q(ended_at__isnull=True) | Q(ended_at__gte=models.F("started_at")),
                name="charge_ends_after_start",
                violation_error_message="A charge cannot end before it starts.",
            ),
            *not_negative("charge", "returned_ah"),
        ]

    def __str__(self) -> str:
        return f"{self.battery.code} on {self.charger.name}"


class CapacityTest(TeamOwned):
    """A discharge at a known current to a known end voltage: without those the Ah are not a number."""

    battery = models.ForeignKey(Battery, on_delete=models.CASCADE, related_name="capacity_tests")
    tested_at = models.DateTimeField()
    current_a = models.FloatField(help_text="Constant discharge current")
    end_v = models.FloatField(help_text="Voltage at which the test was stopped")
    temperature_c = models.FloatField(null=True, blank=True)
    capacity_ah = models.FloatField(help_text="Charge taken out until the end voltage")
    by = models.ForeignKey(User, null=True, blank=True, on_delete=models.SET_NULL, related_name="+")
    note = models.CharField(max_length=200, blank=True)
    history = HistoricalRecords()

    class Meta:
        ordering = ["battery", "tested_at"]
        constraints = [
            models.UniqueConstraint(fields=["battery", "tested_at"], name="capacitytest_once_per_moment"),
            *positive("capacitytest", "current_a", "end_v", "capacity_ah"),
        ]

    def __str__(self) -> str:
        return f"{self.battery.code}: {self.capacity_ah:.1f} Ah"
