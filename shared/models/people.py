"""People, teams and what a person may do in a team."""

from __future__ import annotations

from django.contrib.auth.models import AbstractUser
from django.core.validators import RegexValidator
from django.db import models
from simple_history.models import HistoricalRecords

from shared.models.base import Timestamped

CODE_VALIDATOR = RegexValidator(
    r"^[A-Za-z0-9][A-Za-z0-9._/+-]*$",
    "Use letters, digits and . _ / + - without spaces, starting with a letter or digit.",
)


class User(AbstractUser):
    """A person who signs in; what they may do is decided per team by their membership."""

    @property
    def display_name(self) -> str:
        return self.get_full_name() or self.get_username()


class Team(Timestamped):
    """One robotics team; every other row of the domain belongs to exactly one."""

    name = models.CharField(max_length=80)
    slug = models.SlugField(max_length=40, unique=True)
    currency = models.CharField(max_length=3, default="EUR", help_text="Three letters, for prices")
    is_demo = models.BooleanField(default=False, help_text="Pages say that the data are invented")
    archived = models.BooleanField(default=False)
    history = HistoricalRecords()

    class Meta:
        ordering = ["name"]

    def __str__(self) -> str:
        return self.name


class Role(models.TextChoices):
    """What a membership allows; see ``shared.access.CAPABILITIES`` for the table."""

    MEMBER = "member", "Member"
    LEAD = "lead", "Logistics lead"
    MENTOR = "mentor", "Mentor"
    AUDITOR = "auditor", "Auditor (read only)"


class Membership(Timestamped):
    """A person's role in one team."""

    team = models.ForeignKey(Team, on_delete=models.CASCADE, related_name="memberships")
    user = models.ForeignKey(User, on_delete=models.CASCADE, related_name="memberships")
    role = models.CharField(max_length=10, choices=Role.choices, default=Role.MEMBER)
    history = HistoricalRecords()

    class Meta:
        ordering = ["team__name", "user__username"]
        constraints = [
            models.UniqueConstraint(fields=["team", "user"], name="membership_once_per_team"),
            models.CheckConstraint(condition=models.Q(role__in=Role.values), name="membership_role_known"),
        ]

    def __str__(self) -> str:
        return f"{self.user} in {self.team} as {self.get_role_display()}"
