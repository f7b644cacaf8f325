"""Narrow reads for the sweeps: a queryset's columns as numpy arrays, without building a model per row.

The cursor is read straight: on 60,000 rows the ORM's row converters cost more than every check together. So a column
asked for here must need no converter: numbers, ids, booleans, texts; no JSON, and moments as ``EpochSeconds``.
"""

from __future__ import annotations

import gc
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from itertools import compress
from typing import Any

import numpy as np
from django.core.exceptions import EmptyResultSet
from django.db import connection
from django.db.backends.base.base import BaseDatabaseWrapper
from django.db.models import FloatField, Func, QuerySet
from django.db.models.sql.compiler import SQLCompiler
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

    def where(self, mask: BoolArray) -> Table:
        """The rows of the mask; the table itself when that is all of them."""
        if mask.all():
            return self
        raw: dict[str, Sequence[Any]] = {
            name: tuple(compress(column, mask)) for name, column in self.raw.items()
        }
        return Table(raw, int(mask.sum()))


class EpochSeconds(Func):
    """A moment as seconds since 1970, worked out by the database: to make a ``datetime`` of each of 600,000 readings
    takes longer than to judge them."""

    output_field = FloatField()

    def as_sqlite(
        self, compiler: SQLCompiler, connection: BaseDatabaseWrapper, **more: Any
    ) -> tuple[str, Any]:
        # A Julian day as a double is good to some 0.04 ms; rounded, whole seconds stay whole.
        template = "ROUND((julianday(%(expressions)s) - 2440587.5) * 86400.0, 3)"
        return self.as_sql(compiler, connection, template=template, **more)

    def as_postgresql(
        self, compiler: SQLCompiler, connection: BaseDatabaseWrapper, **more: Any
    ) -> tuple[str, Any]:
        template = "EXTRACT(EPOCH FROM %(expressions)s)::double precision"
        return self.as_sql(compiler, connection, template=template, **more)


def fetch(queryset: QuerySet[Any], *fields: str) -> Table:
    """Read these columns of a queryset in one statement."""
    try:
        sql, params = queryset.values_list(*fields).query.sql_with_params()
    except EmptyResultSet:
        return Table(dict.fromkeys(fields, ()), 0)
    with connection.cursor() as cursor, _no_collection():
        cursor.execute(sql, params)
        rows = cursor.fetchall()
        size = len(rows)
        columns = list(zip(*rows, strict=True)) if rows else [()] * len(fields)
        del rows
    return Table(dict(zip(fields, columns, strict=True)), size)


@contextmanager
def _no_collection() -> Iterator[None]:
    """A hundred thousand rows are no garbage, and looking through them again and again costs a fifth of the read."""
    was_on = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if was_on:
            gc.enable()


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
