"""The catalogue: what a team uses. Every kind is a Part, so stock, offers and needs speak one language."""

from __future__ import annotations

from decimal import Decimal
from itertools import pairwise

from django.core.exceptions import ValidationError
from django.db import models
from simple_history.models import HistoricalRecords

from shared.models.base import TeamOwned
from shared.models.constraints import not_negative, one_of, positive
from shared.models.people import CODE_VALIDATOR


class Unit(models.TextChoices):
    EACH = "each", "each"
    METRE = "m", "m"


class PartKind(models.TextChoices):
    WIRE = "wire", "Wire type"
    TERMINAL = "terminal", "Terminal"
    DEVICE = "device", "Protective device"
    BATTERY = "battery", "Battery model"
    COMPONENT = "component", "Component"
    OTHER = "other", "Other part"


class Status(models.TextChoices):
    """How far a figure can be trusted."""

    SHEET = "sheet", "device's own data sheet"
    MEASURED = "measured", "measured by the team"
    STANDARD = "standard", "published standard"
    MEMORY = "memory", "from memory"
    PRACTICE = "practice", "common practice, no source"


class Part(TeamOwned):
    """Anything that can lie in a bin; the typed kinds below add their figures to it."""

    KIND: PartKind = PartKind.OTHER

    code = models.CharField(
        max_length=40,
        validators=[CODE_VALIDATOR],
        help_text="The team's own short code, as printed on the bin",
    )
    name = models.CharField(max_length=120)
    kind = models.CharField(max_length=10, choices=PartKind.choices, editable=False)
    unit = models.CharField(
        max_length=4, choices=Unit.choices, default=Unit.EACH, help_text="Counted each, or by the metre"
    )
    minimum_stock = models.DecimalField(
        max_digits=12,
        decimal_places=3,
        default=Decimal(0),
        help_text="Never go below this, event or not; 0 for no floor",
    )
    service_frac = models.FloatField(
        default=0.95,
        help_text="Chance of having enough at an event: 99 % if its lack stops the robot, 80 % for a label",
    )
    notes = models.TextField(blank=True)
    archived = models.BooleanField(default=False)
    history = HistoricalRecords(inherit=True)

    class Meta:
        ordering = ["code"]
        constraints = [
            models.UniqueConstraint(fields=["team", "code"], name="part_code_once_per_team"),
            one_of("part", "kind", PartKind.values),
            one_of("part", "unit", Unit.values),
            *not_negative("part", "minimum_stock"),
            models.CheckConstraint(
                condition=models.Q(service_frac__gt=0) & models.Q(service_frac__lt=1),
                name="part_service_frac_open",
                violation_error_message="The chance of having enough lies between 0 %% and 100 %%, both excluded.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.code} {self.name}"

    def clean(self) -> None:
        super().clean()
        self.kind = self.KIND


class WireType(Part):
    """A kind of conductor. Area rules; the size is kept as it was typed."""

    KIND = PartKind.WIRE

    size_typed = models.CharField(
        max_length=20, help_text="12 AWG, 2.5 mm2 or SAE 12, as printed on the insulation"
    )
    area_mm2 = models.FloatField(help_text="Conductor area; worked out from the size unless given")
    strands = models.PositiveIntegerField(null=True, blank=True, help_text="Number of strands, 1 for solid")
    insulation_class_c = models.FloatField(
        help_text="Temperature class of the insulation: 60, 75, 80, 90, 105, 125, 200"
    )
    colour = models.CharField(max_length=30, blank=True)
    tinned = models.BooleanField(default=False)
    resistance_mohm_per_m = models.FloatField(
        null=True, blank=True, help_text="From its own data sheet at 20 C; otherwise worked out from the area"
    )

    class Meta:
        constraints = [
            *positive("wiretype", "area_mm2", "insulation_class_c", "resistance_mohm_per_m", "strands")
        ]

    def clean(self) -> None:
        super().clean()
        self.unit = Unit.METRE


class TerminalType(Part):
    """A terminal or ferrule: which conductors its barrel takes, which stud its hole passes."""

    KIND = PartKind.TERMINAL

    class Form(models.TextChoices):
        RING = "ring", "Ring"
        FORK = "fork", "Fork"
        LUG = "lug", "Heavy lug"
        BLADE = "blade", "Blade (push-on)"
        FERRULE = "ferrule", "Ferrule"
        PIN = "pin", "Contact for a plug"
        SPLICE = "splice", "Splice"
        LEVER = "lever", "Lever clamp"

    form = models.CharField(max_length=8, choices=Form.choices)
    area_min_mm2 = models.FloatField(help_text="Smallest conductor the barrel grips")
    area_max_mm2 = models.FloatField(help_text="Largest conductor that goes in")
    range_typed = models.CharField(max_length=30, blank=True, help_text="As printed on the bag: 16-14 AWG")
    hole_mm = models.FloatField(null=True, blank=True, help_text="Measured hole of a ring, fork or lug")
    colour = models.CharField(max_length=30, blank=True, help_text="A hint only; the printed range decides")

    class Meta:
        constraints = [
            *positive("terminaltype", "area_min_mm2", "area_max_mm2", "hole_mm"),
            one_of(
                "terminaltype", "form", ["ring", "fork", "lug", "blade", "ferrule", "pin", "splice", "lever"]
            ),
            models.CheckConstraint(
                condition=models.Q(area_min_mm2__lte=models.F("area_max_mm2")),
                name="terminaltype_range_order",
                violation_error_message="The smallest conductor must not be larger than the largest.",
            ),
        ]


class ProtectiveDevice(Part):
    """A fuse or breaker. Its time-current points are its own, never those of a 'typical' device."""

    KIND = PartKind.DEVICE

    class Form(models.TextChoices):
        BLADE = "blade", "Blade fuse"
        BOLT = "bolt", "Bolt-down fuse"
        THERMAL = "thermal", "Thermal breaker"
        MAGNETIC = "magnetic", "Hydraulic-magnetic breaker"
        SOLID_STATE = "solid", "Solid-state switch"

    class Reset(models.TextChoices):
        NONE = "none", "Replace"
        MANUAL = "manual", "Manual reset"
        AUTO = "auto", "Resets by itself"
        HELD = "held", "Stays open while powered"

    form = models.CharField(max_length=8, choices=Form.choices)
    rating_a = models.FloatField(help_text="Rated current")
    interrupt_a = models.FloatField(null=True, blank=True, help_text="Largest fault current it may interrupt")
    voltage_v = models.FloatField(null=True, blank=True, help_text="Rated DC voltage")
    reset = models.CharField(max_length=6, choices=Reset.choices, default=Reset.NONE)
    resistance_mohm = models.FloatField(
        null=True, blank=True, help_text="Cold, terminal to terminal; empty if not known"
    )
    heat_s = models.FloatField(
        "heats up in",
        null=True,
        blank=True,
        help_text="How slowly it heats: time to 63 % of its final rise at a steady current; empty if not known",
    )

    class Meta:
        constraints = [
            *positive(
                "protectivedevice", "rating_a", "interrupt_a", "voltage_v", "resistance_mohm", "heat_s"
            ),
            one_of("protectivedevice", "form", ["blade", "bolt", "thermal", "magnetic", "solid"]),
            one_of("protectivedevice", "reset", ["none", "manual", "auto", "held"]),
        ]


class DevicePoint(TeamOwned):
    """One point of a device's time-current band: at this multiple of its rating it opens between min and max."""

    device = models.ForeignKey(ProtectiveDevice, on_delete=models.CASCADE, related_name="points")
    multiple = models.FloatField(help_text="Current divided by the rating: 1.35, 2, 6")
    opens_min_s = models.FloatField(null=True, blank=True, help_text="Earliest opening; empty if not stated")
    opens_max_s = models.FloatField(
        null=True, blank=True, help_text="Latest opening; empty if it need not open"
    )
    status = models.CharField(max_length=8, choices=Status.choices)
    source = models.CharField(max_length=200, help_text="Data sheet, standard and table")
    history = HistoricalRecords()

    class Meta:
        ordering = ["device", "multiple"]
        constraints = [
            models.UniqueConstraint(fields=["device", "multiple"], name="devicepoint_once_per_multiple"),
            *positive("devicepoint", "multiple", "opens_min_s", "opens_max_s"),
            one_of("devicepoint", "status", Status.values),
            models.CheckConstraint(
                condition=models.Q(opens_min_s__lte=models.F("opens_max_s"))
                | models.Q(opens_min_s__isnull=True)
                | models.Q(opens_max_s__isnull=True),
                name="devicepoint_band_order",
                violation_error_message="The earliest opening must not be later than the latest.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.device.code} at {self.multiple:g} x rating"


class BatteryModel(Part):
    """A kind of battery with the figures of its own sheet."""

    KIND = PartKind.BATTERY

    class Chemistry(models.TextChoices):
        AGM = "agm", "Lead-acid, AGM"
        GEL = "gel", "Lead-acid, gel"
        FLOODED = "flooded", "Lead-acid, flooded"
        LFP = "lfp", "Lithium iron phosphate"

    chemistry = models.CharField(max_length=8, choices=Chemistry.choices)
    nominal_v = models.FloatField(default=12.0)
    capacity_ah = models.FloatField(help_text="Rated capacity")
    capacity_hours_h = models.FloatField(default=20.0, help_text="At which rate: 20 for the 20-hour rate")
    end_v = models.FloatField(null=True, blank=True, help_text="End voltage of the rated discharge")
    resistance_new_mohm = models.FloatField(
        null=True, blank=True, help_text="From the sheet; for orientation, never a baseline"
    )
    full_rest_v = models.FloatField(
        default=12.8, help_text="A rested battery at or above this counts as full"
    )
    charge_max_a = models.FloatField(null=True, blank=True)
    discharge_max_a = models.FloatField(null=True, blank=True)
    rest_curve = models.JSONField(
        default=list,
        blank=True,
        help_text="State of charge against rest voltage: 1.0:12.85; 0.5:12.30; 0:11.80",
    )
    terminal_torque_nm = models.FloatField(
        null=True, blank=True, help_text="From its own sheet; there is no safe default"
    )
    mass_g = models.FloatField(null=True, blank=True)
    polarisation_mohm = models.FloatField(
        null=True,
        blank=True,
        help_text="Further resistance that builds up under a steady load, on top of what a meter shows",
    )
    polarisation_s = models.FloatField(
        null=True,
        blank=True,
        help_text="How slowly it builds up: time to 63 % of it under a steady load",
    )

    class Meta:
        constraints = [
            *positive(
                "batterymodel",
                "nominal_v",
                "capacity_ah",
                "capacity_hours_h",
                "end_v",
                "resistance_new_mohm",
                "full_rest_v",
                "charge_max_a",
                "discharge_max_a",
                "terminal_torque_nm",
                "mass_g",
                "polarisation_mohm",
                "polarisation_s",
            ),
            one_of("batterymodel", "chemistry", ["agm", "gel", "flooded", "lfp"]),
        ]

    def clean(self) -> None:
        super().clean()
        _check_rest_curve(self.rest_curve)
        if (self.polarisation_mohm is None) != (self.polarisation_s is None):
            missing = "polarisation_s" if self.polarisation_s is None else "polarisation_mohm"
            raise ValidationError(
                {missing: "Polarisation needs both: how much, and how slowly it builds up."}
            )


def _check_rest_curve(curve: object) -> None:
    remedy = "Write pairs like 1.0:12.85; 0.5:12.30; 0:11.80, the voltage rising with the state of charge."
    if not isinstance(curve, list):
        raise ValidationError({"rest_curve": remedy})
    if not curve:
        return
    try:
        pairs = sorted((float(soc), float(volt)) for soc, volt in curve)
    except (TypeError, ValueError) as exc:
        raise ValidationError({"rest_curve": remedy}) from exc
    socs = [p[0] for p in pairs]
    volts = [p[1] for p in pairs]
    rising = all(a < b for a, b in pairwise(volts))
    if len(pairs) < 2 or len(set(socs)) < len(socs) or socs[0] < 0 or socs[-1] > 1 or not rising:
        raise ValidationError({"rest_curve": remedy})


__all__ = [
    "BatteryModel",
    "DevicePoint",
    "Part",
    "PartKind",
    "ProtectiveDevice",
    "Status",
    "TerminalType",
    "Unit",
    "WireType",
]
