"""Check constraints judged in Python, for a thousand rows without a thousand queries.

As in SQL a comparison with an absent value is neither true nor false, and a constraint fails on false only.
What cannot be judged here (functions, joins) is left to the database, one query at a time.
"""

from __future__ import annotations

import operator
from collections.abc import Callable
from typing import Any, cast

from django.core.exceptions import ValidationError
from django.db.models import CheckConstraint, F, Model, Q
from django.db.models.constants import LOOKUP_SEP

from shared.models.constraints import FieldCheck

Getter = Callable[[str], object]


class CannotJudge(Exception):
    """The condition uses something that only the database can evaluate."""


_COMPARE: dict[str, Callable[[Any, Any], bool]] = {
    "exact": operator.eq,
    "gt": operator.gt,
    "gte": operator.ge,
    "lt": operator.lt,
    "lte": operator.le,
}


def holds(condition: Q, get: Getter) -> bool | None:
    """Whether a condition holds for the values that ``get`` gives by field name; None for SQL's unknown."""
    results: list[bool | None] = []
    for child in condition.children:
        if isinstance(child, Q):
            results.append(holds(child, get))
        elif isinstance(child, tuple):
            results.append(_leaf(child[0], child[1], get))
        else:
            raise CannotJudge
    if condition.connector == Q.AND:
        result = False if False in results else None if None in results else True
    elif condition.connector == Q.OR:
        result = True if True in results else None if None in results else False
    else:
        raise CannotJudge
    return result if not condition.negated or result is None else not result


def _leaf(path: str, expected: Any, get: Getter) -> bool | None:
    name, _, lookup = path.partition(LOOKUP_SEP)
    lookup = lookup or "exact"
    value = get(name)
    if lookup == "isnull":
        return (value is None) is bool(expected)
    if isinstance(expected, F):
        other: str = expected.name  # type: ignore[attr-defined]  # missing from the stubs
        if LOOKUP_SEP in other:
            raise CannotJudge
        expected = get(other)
    elif hasattr(expected, "resolve_expression"):
        raise CannotJudge
    if lookup == "in":
        return None if value is None else value in list(expected)
    if lookup == "range":
        return None if value is None else expected[0] <= value <= expected[1]
    if lookup not in _COMPARE:
        raise CannotJudge
    if value is None or expected is None:
        return None
    return _COMPARE[lookup](value, expected)


def fields_of(condition: Q) -> set[str]:
    """The fields a condition looks at first (not those it compares with)."""
    names: set[str] = set()
    for child in condition.children:
        if isinstance(child, Q):
            names |= fields_of(child)
        elif isinstance(child, tuple):
            names.add(child[0].partition(LOOKUP_SEP)[0])
    return names


def broken_checks(instance: Model) -> list[tuple[str, str]]:
    """The check constraints that a row breaks: the field, if it is about one field only, and the message."""
    broken: list[tuple[str, str]] = []

    def get(name: str) -> object:
        field = instance._meta.pk if name == "pk" else instance._meta.get_field(name)
        return getattr(instance, getattr(field, "attname", name))

    # A row of an inherited table has the constraints of every table it is kept in.
    for model, constraints in instance.get_constraints():
        for constraint in constraints:
            if isinstance(constraint, CheckConstraint) and isinstance(constraint.condition, Q):
                broken += [
                    (_place(constraint), message) for message in _verdict(constraint, model, instance, get)
                ]
    return broken


def _place(constraint: CheckConstraint) -> str:
    if isinstance(constraint, FieldCheck):
        return constraint.field
    names = fields_of(constraint.condition) if isinstance(constraint.condition, Q) else set()
    return next(iter(names)) if len(names) == 1 else ""


def _verdict(constraint: CheckConstraint, model: type[Model], instance: Model, get: Getter) -> list[str]:
    try:
        fails = holds(cast(Q, constraint.condition), get) is False
    except (CannotJudge, TypeError):
        try:
            constraint.validate(model, instance)
        except ValidationError as error:
            return [str(message) for message in error.messages]
        return []
    said = (
        constraint.sentence
        if isinstance(constraint, FieldCheck)
        else constraint.get_violation_error_message()
    )
    return [str(said)] if fails else []
