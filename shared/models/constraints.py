"""Short forms for the check constraints that nearly every table wants."""

from __future__ import annotations

from django.db.models import CheckConstraint, Q


def positive(table: str, *fields: str) -> list[CheckConstraint]:
    """Each field is greater than zero (or absent)."""
    return [
        CheckConstraint(
            condition=Q(**{f"{f}__gt": 0}) | Q(**{f"{f}__isnull": True}),
            name=f"{table}_{f}_positive",
            violation_error_message=f"{f} must be greater than zero.",
        )
        for f in fields
    ]


def not_negative(table: str, *fields: str) -> list[CheckConstraint]:
    """Each field is zero or more (or absent)."""
    return [
        CheckConstraint(
            condition=Q(**{f"{f}__gte": 0}) | Q(**{f"{f}__isnull": True}),
            name=f"{table}_{f}_not_negative",
            violation_error_message=f"{f} must not be below zero.",
        )
        for f in fields
    ]


def fraction(table: str, *fields: str) -> list[CheckConstraint]:
    """Each field is between 0 and 1 (or absent)."""
    return [
        CheckConstraint(
            condition=(Q(**{f"{f}__gte": 0}) & Q(**{f"{f}__lte": 1})) | Q(**{f"{f}__isnull": True}),
            name=f"{table}_{f}_fraction",
            violation_error_message=f"{f} must be between 0 and 1 (or 0 %% and 100 %%).",
        )
        for f in fields
    ]


def one_of(table: str, field: str, values: list[str]) -> CheckConstraint:
    """The field holds one of the known words."""
    return CheckConstraint(condition=Q(**{f"{field}__in": values}), name=f"{table}_{field}_known")
