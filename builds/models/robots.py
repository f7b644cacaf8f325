"""Seasons, robots and their dated builds."""

from __future__ import annotations

from django.core.exceptions import ValidationError
from django.db import models
from django.db.models import F, Q
from simple_history.models import HistoricalRecords

from inventory.models import BatteryModel, Part
from shared.models.base import TeamOwned
from shared.models.constraints import FieldCheck, not_negative, one_of, positive
from shared.models.people import CODE_VALIDATOR


class Season(TeamOwned):
    name = models.CharField(max_length=60)
    starts_on = models.DateField()
    ends_on = models.DateField()
    match_s = models.FloatField("match length", default=150.0, help_text="Length of one match")
    history = HistoricalRecords()

    class Meta:
        ordering = ["-starts_on"]
        constraints = [
            models.UniqueConstraint(fields=["team", "name"], name="season_name_once_per_team"),
            models.CheckConstraint(
                condition=Q(ends_on__gte=F("starts_on")),
                name="season_ends_after_start",
                violation_error_message="A season cannot end before it starts.",
            ),
            FieldCheck(
                field="match_s",
                condition=Q(match_s__gte=10) & Q(match_s__lte=900),
                name="season_match_length_plausible",
                violation_error_message="The length of a match lies between 10 and 900 s.",
            ),
        ]

    def __str__(self) -> str:
        return self.name


class Robot(TeamOwned):
    code = models.CharField(max_length=40, validators=[CODE_VALIDATOR])
    name = models.CharField(max_length=80)
    season = models.ForeignKey(Season, on_delete=models.PROTECT, related_name="robots")
    notes = models.TextField(blank=True)
    archived = models.BooleanField(default=False, help_text="Taken apart or given away")
    history = HistoricalRecords()

    class Meta:
        ordering = ["code"]
        constraints = [models.UniqueConstraint(fields=["team", "code"], name="robot_code_once_per_team")]

    def __str__(self) -> str:
        return self.name


class BuildState(models.TextChoices):
    DRAFT = "draft", "Draft"
    CURRENT = "current", "Current"
    PAST = "past", "Past"


#: What is wrong, and what would be right, where a robot would run its circuits from a battery nobody named.
NO_BATTERY = "A current build with circuits needs the kind of battery it runs on"
NO_BATTERY_REMEDY = "Choose the battery model in the build's figures, or leave it a draft until you know"


class Build(TeamOwned):
    """A dated as-built revision of a robot. The sweeps judge each robot's current build."""

    robot = models.ForeignKey(Robot, on_delete=models.CASCADE, related_name="builds")
    label = models.CharField(max_length=40, help_text="rev B, competition, after the drivetrain change")
    dated = models.DateField(help_text="From this day the robot is wired like this")
    state = models.CharField(max_length=8, choices=BuildState.choices, default=BuildState.DRAFT)
    battery_model = models.ForeignKey(
        BatteryModel, null=True, blank=True, on_delete=models.PROTECT, related_name="builds"
    )
    ambient_c = models.FloatField(default=30.0, help_text="Air around the conductors during a match")
    source_mohm = models.FloatField(
        null=True,
        blank=True,
        help_text="Battery, leads and joints up to the distribution board, for fault currents; empty if not known",
    )
    notes = models.TextField(blank=True)
    history = HistoricalRecords()

    class Meta:
        ordering = ["robot", "-dated"]
        constraints = [
            models.UniqueConstraint(fields=["robot", "label"], name="build_label_once_per_robot"),
            models.UniqueConstraint(
                fields=["robot"],
                condition=Q(state="current"),
                name="build_one_current_per_robot",
                violation_error_message="This robot already has a current build. Mark that one past first.",
            ),
            one_of("build", "state", BuildState.values),
            models.CheckConstraint(
                condition=Q(ambient_c__gte=-40) & Q(ambient_c__lte=90),
                name="build_ambient_plausible",
                violation_error_message="The ambient temperature lies between -40 and 90 C.",
            ),
            *positive("build", "source_mohm"),
        ]

    def __str__(self) -> str:
        return f"{self.robot.name} {self.label}"

    def clean(self) -> None:
        super().clean()
        if self.lacks_battery():
            raise ValidationError({"battery_model": f"{NO_BATTERY}. {NO_BATTERY_REMEDY}."})

    @property
    def names_battery(self) -> bool:
        """Whether a battery model is chosen; one of the same import is on the row before it has a key."""
        chosen: object = self.battery_model_id or self.battery_model
        return chosen is not None

    def lacks_battery(self) -> bool:
        """Whether saving this would newly leave wired circuits without a battery; asks the database if none is chosen.

        A row from before this was refused stays as it is: the rule on minimal wiring tells of it.
        """
        if self.state != BuildState.CURRENT or self._state.adding or self.names_battery:
            return False
        stood = Build.objects.filter(pk=self.pk, state=BuildState.CURRENT, battery_model=None)
        return not stood.exists() and self.circuits.exists()


class BuildLine(TeamOwned):
    """A part a build needs besides what its circuits imply: connectors, ties, a spare beacon, a battery strap."""

    build = models.ForeignKey(Build, on_delete=models.CASCADE, related_name="lines")
    part = models.ForeignKey(Part, on_delete=models.PROTECT, related_name="build_lines")
    quantity = models.DecimalField(max_digits=10, decimal_places=3)
    installed = models.DecimalField(
        max_digits=10, decimal_places=3, default=0, help_text="How many are already on the robot"
    )
    note = models.CharField(max_length=120, blank=True)
    history = HistoricalRecords()

    class Meta:
        ordering = ["build", "part"]
        constraints = [
            models.UniqueConstraint(
                fields=["build", "part", "note"], name="buildline_once_per_part_and_note"
            ),
            *positive("buildline", "quantity"),
            *not_negative("buildline", "installed"),
            models.CheckConstraint(
                condition=Q(installed__lte=F("quantity")),
                name="buildline_installed_within_quantity",
                violation_error_message="More are installed than the build needs.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.quantity} x {self.part.code}"
