"""Narrow reads for the sweeps: a queryset's columns as numpy arrays, without building a model per row.

The cursor is read straight: on 60,000 rows the ORM's row converters cost more than every check together. So a column
asked for here must need no converter: numbers, ids, booleans, texts; no moments and no JSON.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from django.core.exceptions import EmptyResultSet
from django.db import connection
from django.db.models import QuerySet
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
IdArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]

#: Stands for "no row" in a column of ids.
NO_ID = -1


@dataclass(frozen=True)
class Table:
    """Columns of equal length by name, as the driver gave them."""

    raw: dict[str, Sequence[Any]]
    size: int
    _floats: dict[str, FloatArray] = field(default_factory=dict, repr=False)

    def floats(self, name: str) -> FloatArray:
        """A column of numbers, NaN where the database has none; made once, so not to be written to."""
        if name not in self._floats:
            self._floats[name] = np.array(self.raw[name], dtype=np.float64)
        return self._floats[name]

    def ids(self, name: str) -> IdArray:
        """A column of ids or counts, ``NO_ID`` where the database has none."""
        column = self.floats(name)
        return np.where(np.isnan(column), NO_ID, column).astype(np.int64)

    def bools(self, name: str) -> BoolArray:
        return np.array(self.raw[name], dtype=np.bool_)

    def texts(self, name: str) -> Sequence[str]:
        return self.raw[name]


def fetch(queryset: QuerySet[Any], *fields: str) -> Table:
    """Read these columns of a queryset in one statement."""
    try:
        sql, params = queryset.values_list(*fields).query.sql_with_params()
    except EmptyResultSet:
        return Table(dict.fromkeys(fields, ()), 0)
    with connection.cursor() as cursor:
        cursor.execute(sql, params)
        rows = cursor.fetchall()
    columns = list(zip(*rows, strict=True)) if rows else [()] * len(fields)
    return Table(dict(zip(fields, columns, strict=True)), len(rows))


def place_of(known_ids: IdArray, wanted: IdArray) -> IdArray:
    """Where each wanted id stands in ``known_ids`` (in any order); ``NO_ID`` where it does not."""
    if known_ids.size == 0:
        return np.full(wanted.shape, NO_ID, dtype=np.int64)
    order = np.argsort(known_ids, kind="stable")
    at = np.minimum(np.searchsorted(known_ids, wanted, sorter=order), known_ids.size - 1)
    found = order[at]
    return np.where(known_ids[found] == wanted, found, NO_ID).astype(np.int64)


def take(column: FloatArray, place: IdArray) -> FloatArray:
    """The column's values at these places, NaN where there is no place."""
    if column.size == 0:
        return np.full(place.shape, np.nan)
    return np.where(place >= 0, column[place], np.nan)
