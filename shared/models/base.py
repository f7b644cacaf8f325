"""Bases that every row of the domain shares."""

from __future__ import annotations

from django.core.exceptions import ValidationError
from django.db import models


class Timestamped(models.Model):
    created_at = models.DateTimeField(auto_now_add=True, editable=False)
    updated_at = models.DateTimeField(auto_now=True, editable=False)

    class Meta:
        abstract = True


class TeamOwned(Timestamped):
    """A row that belongs to one team and may only point at rows of the same team.

    The foreign keys are compared in ``clean`` (which every service runs) because neither SQLite nor PostgreSQL
    checks a key's team without composite keys in every table.
    """

    team = models.ForeignKey("shared.Team", on_delete=models.CASCADE, related_name="+", editable=False)

    class Meta:
        abstract = True

    def clean(self) -> None:
        super().clean()
        for field in self._meta.concrete_fields:
            if not isinstance(field, models.ForeignKey) or field.name == "team":
                continue
            related = field.related_model
            if not hasattr(related, "team_id"):
                continue
            if getattr(self, field.attname) is None or field.remote_field.parent_link:
                continue
            other = getattr(self, field.name)
            if other.team_id != self.team_id:
                raise ValidationError(
                    {field.name: f"{other} belongs to another team. Choose a row of this team."}
                )
