"""Components: what draws current, and the boards and regulators that pass it on."""

from __future__ import annotations

from django.core.exceptions import ValidationError
from django.db import models

from inventory.models.catalogue import Part, PartKind
from shared.models.constraints import FieldCheck, fraction, not_negative, one_of, positive


class Component(Part):
    """Something that draws current: a motor with its controller, a radio, a regulator, a beacon."""

    KIND = PartKind.COMPONENT

    class Role(models.TextChoices):
        MOTOR = "motor", "Motor with controller"
        CONTROLLER = "controller", "Main controller"
        RADIO = "radio", "Radio"
        REGULATOR = "regulator", "Voltage regulator"
        BEACON = "beacon", "Status beacon"
        BOARD = "board", "Distribution board"
        PNEUMATIC = "pneumatic", "Compressor or valve block"
        SENSOR = "sensor", "Sensor or camera"
        LIGHT = "light", "Light"
        OTHER = "other", "Other load"

    class Draw(models.TextChoices):
        """What stays the same when the voltage that arrives sags."""

        CURRENT = "current", "Constant current"
        POWER = "power", "Constant power"
        RESISTANCE = "resistance", "Like a resistor"
        MOTOR = "motor", "Like a DC motor"

    role = models.CharField(max_length=10, choices=Role.choices)
    draw = models.CharField(
        "draws",
        max_length=10,
        choices=Draw.choices,
        blank=True,
        help_text="How it draws when the voltage sags; empty: motors like a motor, electronics at constant power, "
        "the rest at constant current",
    )
    nominal_v = models.FloatField(null=True, blank=True)
    nominal_a = models.FloatField(null=True, blank=True, help_text="Running current at its planned load")
    peak_a = models.FloatField(null=True, blank=True, help_text="Start or stall current")
    free_a = models.FloatField(
        null=True,
        blank=True,
        help_text="Motors: current running free at the nominal voltage, nothing attached",
    )
    stall_a = models.FloatField(
        null=True, blank=True, help_text="Motors: current with the shaft held at the nominal voltage"
    )
    spin_up_s = models.FloatField(
        null=True,
        blank=True,
        help_text="Motors with what they drive: time to 63 % of their speed after full power is given",
    )
    minimum_v = models.FloatField(null=True, blank=True, help_text="Below this it resets or drops out")
    output_v = models.FloatField(
        null=True, blank=True, help_text="Regulators: the voltage they give out while enough comes in"
    )
    efficiency_frac = models.FloatField(
        null=True, blank=True, help_text="Regulators: power given out as a share of the power taken in"
    )
    output_max_a = models.FloatField(
        null=True, blank=True, help_text="Regulators: largest current they give out before they limit it"
    )
    stud_mm = models.FloatField(null=True, blank=True, help_text="Stud or screw its supply is fastened to")

    class Meta:
        constraints = [
            *positive(
                "component",
                "nominal_v",
                "minimum_v",
                "stud_mm",
                "stall_a",
                "spin_up_s",
                "output_v",
                "efficiency_frac",
                "output_max_a",
            ),
            *not_negative("component", "nominal_a", "peak_a", "free_a"),
            *fraction("component", "efficiency_frac"),
            one_of(
                "component",
                "role",
                [
                    "motor",
                    "controller",
                    "radio",
                    "regulator",
                    "beacon",
                    "board",
                    "pneumatic",
                    "sensor",
                    "light",
                    "other",
                ],
            ),
            one_of("component", "draw", ["", "current", "power", "resistance", "motor"]),
            FieldCheck(
                field="stall_a",
                condition=models.Q(stall_a__gt=models.F("free_a"))
                | models.Q(stall_a__isnull=True)
                | models.Q(free_a__isnull=True),
                name="component_stall_above_free",
                violation_error_message="The stall current must be above the free current.",
            ),
        ]

    def clean(self) -> None:
        super().clean()
        # No constraint of the database: a regulator entered before this figure was asked for has none yet.
        if self.role == self.Role.REGULATOR and self.output_v is None:
            raise ValidationError(
                {
                    "output_v": "A regulator needs its output voltage: without it nothing behind it can be judged."
                }
            )
