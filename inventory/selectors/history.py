"""Who changed what on a row and when, in words a person can read."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from itertools import pairwise
from typing import Any

from django.db import models

from shared.fields import label_for
from shared.models import TeamOwned

#: Lines of history a page shows.
MOST_LINES = 50

#: Kept for the machinery, of no interest to a reader.
_UNTOLD = frozenset({"id", "team", "created_at", "updated_at", "part_ptr", "kind"})


@dataclass(frozen=True)
class HistoryLine:
    """One change: when, who, what was done, and the values before and after."""

    when: datetime
    who: str
    what: str
    detail: str


def history_of(row: TeamOwned, *, most: int = MOST_LINES) -> list[HistoryLine]:
    """The changes of a row, the latest first; a name is looked up once per kind of related row."""
    manager: Any = row.history  # type: ignore[attr-defined]  # every row of the domain keeps one
    found = list(manager.select_related("history_user").order_by("-history_date", "-history_id")[: most + 1])
    fields = [f for f in row._meta.concrete_fields if f.name not in _UNTOLD and not f.primary_key]
    names = _names(fields, found)
    lines = []
    for now, before in pairwise([*found, None]):
        what = {"+": "entered", "~": "changed", "-": "deleted"}[now.history_type]
        changes = [] if before is None or now.history_type != "~" else _changes(fields, before, now, names)
        detail = "; ".join(filter(None, [*changes, now.history_change_reason or ""]))
        who = now.history_user.display_name if now.history_user else ""
        if now.history_type != "~" or detail:
            lines.append(HistoryLine(now.history_date, who, what, detail))
    return lines[:most]


Names = dict[str, dict[Any, str]]


def _names(fields: list[models.Field[Any, Any]], found: list[Any]) -> Names:
    """Field name -> id -> text, for the related rows that changed."""
    names: Names = {}
    for field in fields:
        related = field.related_model
        if isinstance(related, type) and issubclass(related, models.Model):
            ids = {getattr(h, field.attname) for h in found} - {None}
            if len(ids) > 1:
                names[field.name] = {k: str(v) for k, v in related._default_manager.in_bulk(ids).items()}
    return names


def _changes(fields: list[models.Field[Any, Any]], before: Any, now: Any, names: Names) -> list[str]:
    told = []
    for field in fields:
        old, new = getattr(before, field.attname), getattr(now, field.attname)
        if old != new:
            told.append(f"{label_for(field)}: {_text(field, old, names)} → {_text(field, new, names)}")
    return told


def _text(field: models.Field[Any, Any], value: Any, names: Names) -> str:
    if value is None or value == "":
        return "nothing"
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, datetime):
        return f"{value:%Y-%m-%d %H:%M}"
    if field.name in names:
        return names[field.name].get(value, "one since deleted")
    return str(dict(field.flatchoices).get(value, value))
