"""One plain value to one cell that reads back as the same value; how values are compared and shown."""

from __future__ import annotations

import json
import math
from collections.abc import Iterable
from datetime import UTC, date, datetime
from decimal import Decimal
from typing import cast

from shared.electrical.gauges import format_size
from shared.points import format_points
from shared.workbook.escape import escape, spelled_out, writable
from shared.workbook.locale import Locale
from shared.workbook.spec import Column, Kind

# Programs that save a workbook keep 15 figures of a number.
SAME_REL = 1e-12
# A gauge is printed for an area within this (see format_size), so reading it back moves the area that far.
SAME_AREA_REL = 1e-3

Cell = str | int | float | Decimal | bool | date | datetime | None


def to_cell(value: object, column: Column, locale: Locale) -> Cell:
    """The cell for a value: a real number, date or boolean where the kind has one, else text."""
    if value is None or value == "" or value == ():
        return None
    match column.kind:
        case Kind.INTEGER | Kind.NUMBER | Kind.QUANTITY | Kind.DECIMAL:
            return cast(Cell, value)
        case Kind.DATE:
            day = cast(date, value)  # serial numbers begin in 1900
            return day if day.year > 1900 else day.isoformat()
        case Kind.DATETIME:
            return _local(cast(datetime, value), locale)
        case _:
            return escape(writable(to_text(value, column)))


def to_text(value: object, column: Column) -> str:
    """The value as a person reads it in a preview."""
    if value is None or value == ():
        return ""
    match column.kind:
        case Kind.CHOICE:
            return dict(column.choices).get(str(value), str(value))
        case Kind.BOOL:
            return "yes" if value else "no"
        case Kind.AREA:
            return format_size(float(cast(float, value)))
        case Kind.LIST | Kind.REFERENCES:
            return "; ".join(str(item) for item in cast(Iterable[object], value))
        case Kind.POINTS:
            return format_points(cast(Iterable[Iterable[float]], value))
        case Kind.JSON:
            return spelled_out(json.dumps(value, ensure_ascii=False, sort_keys=True))
        case Kind.DATETIME:
            return cast(datetime, value).astimezone(UTC).isoformat(sep=" ")
        case _:
            return _number(value) if isinstance(value, float | Decimal) else str(value)


def _number(value: float | Decimal) -> str:
    if isinstance(value, Decimal):
        return f"{value.normalize():f}"
    return repr(int(value)) if value.is_integer() and abs(value) < 1e15 else repr(value)


def _local(moment: datetime, locale: Locale) -> datetime | str:
    """A time of the file's zone; as text with offset where a bare local time would not name one moment."""
    local = moment.astimezone(locale.zone)
    naive = local.replace(tzinfo=None, fold=0)
    same = naive.replace(tzinfo=locale.zone).astimezone(UTC) == moment
    if not same or naive.microsecond or naive.year < 1955 or naive.year > 2118:
        return moment.astimezone(UTC).isoformat(sep=" ")
    return naive


def same(old: object, new: object, column: Column) -> bool:
    """Whether two plain values are one and the same for a person."""
    if isinstance(old, float) and isinstance(new, float):
        rel = SAME_AREA_REL if column.kind is Kind.AREA else SAME_REL
        return math.isclose(old, new, rel_tol=rel, abs_tol=1e-15)
    if column.kind is Kind.POINTS:
        return _flat(old) == _flat(new)
    if column.kind is Kind.REFERENCES:
        return set(cast(Iterable[object], old or ())) == set(cast(Iterable[object], new or ()))
    if isinstance(old, str) and isinstance(new, str):
        return writable(old) == writable(new)
    return old == new


def _flat(points: object) -> list[str]:
    return [
        f"{number + 0.0:.12g}" for pair in cast(Iterable[Iterable[float]], points or ()) for number in pair
    ]


def key_part(value: object) -> object:
    """A plain value as part of a key: floats without binary dust, text without outer blanks, '' as None."""
    if isinstance(value, float):
        return float(f"{value:.12g}")
    if isinstance(value, Decimal):
        return value.normalize()
    if isinstance(value, str):
        return writable(value) or None
    return value
