"""Many rows at once, as the demo world needs them."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TypeVar

from django.db import models
from simple_history.utils import bulk_create_with_history

from shared.access import Scope
from shared.models import TeamOwned

R = TypeVar("R", bound=TeamOwned)


def put_many(scope: Scope, rows: Sequence[R]) -> list[R]:
    """Create rows of one model with history, their fields and teams checked.

    Constraints are left to the database, which refuses the whole world when one is broken; asking it row by row
    beforehand would take longer than all the rest. No sweep is queued: whoever makes the world sweeps it after.
    """
    if not rows:
        return []
    for row in rows:
        check(row)
    made: list[R] = bulk_create_with_history(rows, type(rows[0]), batch_size=500, default_user=scope.user)
    return made


def check(row: TeamOwned) -> None:
    """Whether the row's own fields are right, without asking the database: what it points at was given as rows."""
    given = {f.name for f in row._meta.concrete_fields if isinstance(f, models.ForeignKey)}
    row.full_clean(exclude=given, validate_unique=False, validate_constraints=False)
