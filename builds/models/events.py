"""Events, matches and outings: when robots run, and which battery went with them."""

from __future__ import annotations

from django.db import models
from django.db.models import F, Q
from simple_history.models import HistoricalRecords

from builds.models.robots import Robot, Season
from inventory.models import Battery, Charger
from inventory.volts import VoltValidator
from shared.models.base import TeamOwned
from shared.models.constraints import FieldCheck, not_negative, one_of, positive
from shared.models.people import User


class Event(TeamOwned):
    name = models.CharField(max_length=80)
    season = models.ForeignKey(Season, null=True, blank=True, on_delete=models.PROTECT, related_name="events")
    place = models.CharField(max_length=120, blank=True)
    starts_on = models.DateField()
    ends_on = models.DateField()
    goods_by = models.DateField(
        null=True, blank=True, help_text="Goods ordered for this event must be here by this day"
    )
    matches_planned = models.PositiveIntegerField(default=0, help_text="Matches per robot")
    robots = models.ManyToManyField(Robot, blank=True, related_name="events", help_text="Robots that go")
    batteries = models.ManyToManyField(
        Battery, blank=True, related_name="events", help_text="On the cart; none chosen: all in service"
    )
    chargers = models.ManyToManyField(
        Charger, blank=True, related_name="events", help_text="In the pit; none chosen: all of the team"
    )
    history = HistoricalRecords(m2m_fields=[robots, batteries, chargers])

    class Meta:
        ordering = ["-starts_on"]
        constraints = [
            models.UniqueConstraint(fields=["team", "name"], name="event_name_once_per_team"),
            models.CheckConstraint(
                condition=Q(ends_on__gte=F("starts_on")),
                name="event_ends_after_start",
                violation_error_message="An event cannot end before it starts.",
            ),
            models.CheckConstraint(
                condition=Q(goods_by__lte=F("starts_on")) | Q(goods_by__isnull=True),
                name="event_goods_before_start",
                violation_error_message="Goods must be here before the event starts.",
            ),
        ]

    def __str__(self) -> str:
        return self.name


class Match(TeamOwned):
    class Importance(models.TextChoices):
        PRACTICE = "practice", "Practice"
        ROUND = "round", "Round"
        KNOCKOUT = "knockout", "Knock-out"
        FINAL = "final", "Final"

    event = models.ForeignKey(Event, on_delete=models.CASCADE, related_name="matches")
    robot = models.ForeignKey(Robot, on_delete=models.CASCADE, related_name="matches")
    number = models.CharField(max_length=20, help_text="As on the schedule")
    starts_at = models.DateTimeField()
    importance = models.CharField(max_length=8, choices=Importance.choices, default=Importance.ROUND)
    strength = models.PositiveSmallIntegerField(
        null=True, blank=True, help_text="How hard the opponents are: 1 easy to 5 hardest; empty if not known"
    )
    carrier = models.CharField(max_length=60, blank=True, help_text="Who carries the battery")
    called_off = models.BooleanField(default=False, help_text="Not played; needs no battery")
    history = HistoricalRecords()

    class Meta:
        ordering = ["starts_at"]
        verbose_name_plural = "matches"
        constraints = [
            models.UniqueConstraint(fields=["event", "robot", "number"], name="match_number_once"),
            one_of("match", "importance", ["practice", "round", "knockout", "final"]),
            FieldCheck(
                field="strength",
                condition=Q(strength__isnull=True) | Q(strength__range=(1, 5)),
                name="match_strength_1_to_5",
                violation_error_message="strength must be between 1 (easy) and 5 (hardest).",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.event.name} {self.number}"


class Outing(TeamOwned):
    """One use of a battery: in a match, or in practice when ``match`` is empty."""

    battery = models.ForeignKey(Battery, on_delete=models.CASCADE, related_name="outings")
    robot = models.ForeignKey(Robot, null=True, blank=True, on_delete=models.SET_NULL, related_name="outings")
    match = models.ForeignKey(Match, null=True, blank=True, on_delete=models.SET_NULL, related_name="outings")
    started_at = models.DateTimeField(help_text="When it went into the robot")
    in_robot = models.BooleanField(default=False, help_text="It is in the robot now")
    ended_at = models.DateTimeField(
        null=True, blank=True, help_text="When it came out again; empty if nobody noted it"
    )
    start_rest_v = models.FloatField(
        null=True, blank=True, validators=[VoltValidator("rest")], help_text="At rest, before it went out"
    )
    end_rest_v = models.FloatField(
        null=True, blank=True, validators=[VoltValidator("rest")], help_text="Some minutes after it came back"
    )
    lowest_v = models.FloatField(
        null=True,
        blank=True,
        validators=[VoltValidator("lowest")],
        help_text="From the robot's log, if known",
    )
    used_ah = models.FloatField(null=True, blank=True, help_text="From the robot's log, if known")
    by = models.ForeignKey(User, null=True, blank=True, on_delete=models.SET_NULL, related_name="+")
    note = models.CharField(max_length=200, blank=True)
    history = HistoricalRecords()

    class Meta:
        ordering = ["-started_at"]
        constraints = [
            models.UniqueConstraint(fields=["battery", "started_at"], name="outing_once_per_start"),
            models.UniqueConstraint(
                fields=["battery"],
                condition=Q(in_robot=True),
                name="outing_one_robot_per_battery",
                violation_error_message="This battery is in a robot already. Take it out there first.",
            ),
            models.UniqueConstraint(
                fields=["robot"],
                condition=Q(in_robot=True),
                name="outing_one_battery_per_robot",
                violation_error_message="Another battery is in this robot. Take that one out first.",
            ),
            models.CheckConstraint(
                condition=Q(ended_at__isnull=True) | (Q(ended_at__gte=F("started_at")) & Q(in_robot=False)),
                name="outing_ends_after_start",
                violation_error_message="A battery cannot come out before it went in.",
            ),
            *positive("outing", "start_rest_v", "end_rest_v"),
            *not_negative("outing", "lowest_v", "used_ah"),
        ]
        indexes = [models.Index(fields=["team", "-started_at"], name="outing_team_recent")]

    def __str__(self) -> str:
        return f"{self.battery.code} on {self.started_at:%Y-%m-%d}"
