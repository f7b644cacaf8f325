"""Short forms for the check constraints that nearly every table wants."""

from __future__ import annotations

from typing import Any

from django.core.exceptions import ValidationError
from django.db.models import CheckConstraint, Model, Q


class FieldCheck(CheckConstraint):
    """A check that is about one field, and is told beside that field wherever a row is entered.

    To the database and to migrations it is a plain check. The message starts with the field's name, for the
    places that show it alone; beside the field the name is left out.
    """

    def __init__(self, *, field: str = "", **said: Any) -> None:
        super().__init__(**said)
        self.field = field

    @property
    def sentence(self) -> str:
        """The message as it reads beside its field."""
        text = str(self.get_violation_error_message()).removeprefix(f"{self.field} ")
        return text[:1].upper() + text[1:]

    def validate(
        self, model: type[Model], instance: Model, exclude: Any = None, using: str = "default"
    ) -> None:
        try:
            super().validate(model, instance, exclude=exclude, using=using)
        except ValidationError as error:
            raise (ValidationError({self.field: self.sentence}) if self.field else error) from error

    def deconstruct(self) -> Any:
        _, args, said = super().deconstruct()
        return "django.db.models.CheckConstraint", args, said

    def clone(self) -> FieldCheck:
        made: FieldCheck = super().clone()
        made.field = self.field
        return made


def positive(table: str, *fields: str) -> list[FieldCheck]:
    """Each field is greater than zero (or absent)."""
    return [
        FieldCheck(
            field=f,
            condition=Q(**{f"{f}__gt": 0}) | Q(**{f"{f}__isnull": True}),
            name=f"{table}_{f}_positive",
            violation_error_message=f"{f} must be greater than zero.",
        )
        for f in fields
    ]


def not_negative(table: str, *fields: str) -> list[FieldCheck]:
    """Each field is zero or more (or absent)."""
    return [
        FieldCheck(
            field=f,
            condition=Q(**{f"{f}__gte": 0}) | Q(**{f"{f}__isnull": True}),
            name=f"{table}_{f}_not_negative",
            violation_error_message=f"{f} must not be below zero.",
        )
        for f in fields
    ]


def fraction(table: str, *fields: str) -> list[FieldCheck]:
    """Each field is between 0 and 1 (or absent)."""
    return [
        FieldCheck(
            field=f,
            condition=(Q(**{f"{f}__gte": 0}) & Q(**{f"{f}__lte": 1})) | Q(**{f"{f}__isnull": True}),
            name=f"{table}_{f}_fraction",
            violation_error_message=f"{f} must be between 0 and 1 (or 0 %% and 100 %%).",
        )
        for f in fields
    ]


def one_of(table: str, field: str, values: list[str]) -> FieldCheck:
    """The field holds one of the known words."""
    return FieldCheck(field=field, condition=Q(**{f"{field}__in": values}), name=f"{table}_{field}_known")
