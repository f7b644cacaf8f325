"""Circuits: one protected branch each, from its source to its load."""

from __future__ import annotations

import re

from django.core.exceptions import ValidationError
from django.db import models
from django.db.models import F, Q
from simple_history.models import HistoricalRecords

from builds.models.duties import DutyProfile
from builds.models.robots import NO_BATTERY, NO_BATTERY_REMEDY, Build, BuildState
from inventory.models import Component, ProtectiveDevice, TerminalType, WireType
from shared.models.base import TeamOwned
from shared.models.constraints import FieldCheck, fraction, not_negative, one_of, positive
from shared.models.people import CODE_VALIDATOR


class CircuitRole(models.TextChoices):
    MAIN = "main", "Main feed"
    FEED = "feed", "Feed of a board or regulator"
    BRANCH = "branch", "Branch to a load"
    SIGNAL = "signal", "Signal or data"


class Circuit(TeamOwned):
    """One circuit of a build. An empty figure means 'not known yet', and the checks say so instead of guessing."""

    build = models.ForeignKey(Build, on_delete=models.CASCADE, related_name="circuits")
    code = models.CharField(
        max_length=40, validators=[CODE_VALIDATOR], help_text="As on the label at both ends"
    )
    name = models.CharField(max_length=80)
    role = models.CharField(max_length=8, choices=CircuitRole.choices, default=CircuitRole.BRANCH)
    fed_from = models.ForeignKey(
        "self",
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="feeds",
        help_text="The circuit whose far end this one starts from; empty for the battery",
    )
    device = models.ForeignKey(
        ProtectiveDevice, null=True, blank=True, on_delete=models.PROTECT, related_name="circuits"
    )
    device_fitted = models.BooleanField(default=True, help_text="The device is in its place on the robot")
    wire = models.ForeignKey(
        WireType, null=True, blank=True, on_delete=models.PROTECT, related_name="circuits"
    )
    parallel = models.PositiveSmallIntegerField(default=1, help_text="Equal conductors side by side per pole")
    length_m = models.FloatField(
        null=True, blank=True, help_text="One way; the return is counted by the checks"
    )
    wired = models.BooleanField(default=True, help_text="The conductor is on the robot already")
    component = models.ForeignKey(
        Component, null=True, blank=True, on_delete=models.PROTECT, related_name="circuits"
    )
    continuous_a = models.FloatField(null=True, blank=True, help_text="Running current")
    peak_a = models.FloatField(
        null=True, blank=True, help_text="Highest current in use; empty if it never peaks"
    )
    duty_frac = models.FloatField(null=True, blank=True, help_text="Share of each cycle spent at the peak")
    cycle_s = models.FloatField(null=True, blank=True, help_text="Length of one cycle of peak and rest")
    mechanism = models.CharField(
        max_length=40,
        blank=True,
        help_text="What moves together with it: drive, arm; empty: its code without the number at the end",
    )
    profile = models.ForeignKey(
        DutyProfile,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="circuits",
        help_text="How it is used during a match; empty: from its running and peak current",
    )
    limit_a = models.FloatField(
        "current limit",
        null=True,
        blank=True,
        help_text="Current limit set in the motor's controller, on its supply side; empty if none is set",
    )
    joints_mohm = models.FloatField(
        null=True,
        blank=True,
        help_text="Plugs, crimps and screws of both poles together, as measured; empty if not measured",
    )
    terminal_source = models.ForeignKey(
        TerminalType,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="+",
        help_text="At the source end",
    )
    stud_source_mm = models.FloatField(null=True, blank=True, help_text="Stud it sits on, if any")
    terminal_load = models.ForeignKey(
        TerminalType,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="+",
        help_text="At the load end",
    )
    stud_load_mm = models.FloatField(null=True, blank=True, help_text="Stud it sits on, if any")
    bundle_count = models.PositiveSmallIntegerField(
        default=2, help_text="Current-carrying conductors in the same bundle, its own two included"
    )
    ambient_c = models.FloatField(null=True, blank=True, help_text="If hotter than the rest of the robot")
    critical = models.BooleanField(default=False, help_text="Its drop is held to the tighter limit")
    notes = models.TextField(blank=True)
    history = HistoricalRecords()

    class Meta:
        ordering = ["build", "code"]
        constraints = [
            models.UniqueConstraint(fields=["build", "code"], name="circuit_code_once_per_build"),
            one_of("circuit", "role", CircuitRole.values),
            *positive(
                "circuit",
                "parallel",
                "length_m",
                "cycle_s",
                "stud_source_mm",
                "stud_load_mm",
                "bundle_count",
                "limit_a",
                "joints_mohm",
            ),
            *not_negative("circuit", "continuous_a", "peak_a"),
            *fraction("circuit", "duty_frac"),
            FieldCheck(
                field="peak_a",
                condition=Q(peak_a__gte=F("continuous_a"))
                | Q(peak_a__isnull=True)
                | Q(continuous_a__isnull=True),
                name="circuit_peak_not_below_continuous",
                violation_error_message="The peak current must not be below the running current.",
            ),
            FieldCheck(
                field="ambient_c",
                condition=(Q(ambient_c__gte=-40) & Q(ambient_c__lte=150)) | Q(ambient_c__isnull=True),
                name="circuit_ambient_plausible",
                violation_error_message="The ambient temperature lies between -40 and 150 C.",
            ),
            FieldCheck(
                field="fed_from",
                condition=~Q(fed_from=F("id")) | Q(fed_from__isnull=True),
                name="circuit_not_fed_from_itself",
                violation_error_message="A circuit cannot be fed from itself.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.code} {self.name}"

    def clean(self) -> None:
        super().clean()
        if self._state.adding and self._is_first_without_battery():
            # No field of a circuit: the forms that enter one would not find it there.
            raise ValidationError(f"battery_model of the build: {NO_BATTERY}. {NO_BATTERY_REMEDY}.")

    def _is_first_without_battery(self) -> bool:
        """Whether it would be the first circuit of a current build that names no battery; asks only then."""
        build: Build | None = getattr(self, "build", None)
        if build is None or build.state != BuildState.CURRENT or build.names_battery:
            return False
        return not (build.pk and build.circuits.exists())

    @property
    def moves_with(self) -> str:
        """The mechanism it belongs to, as entered or by its code."""
        return mechanism_of(self.mechanism, self.code)


def mechanism_of(mechanism: str, code: str) -> str:
    """What a circuit moves together with: as entered, else its code without the number at the end.

    >>> mechanism_of("", "DRIVE-3"), mechanism_of("", "C07"), mechanism_of("lift", "ARM-1")
    ('DRIVE', 'C07', 'lift')
    """
    return mechanism or re.sub(r"(?<=.)[-_./+]\d+$", "", code)
