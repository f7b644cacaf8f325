"""Narrow reads for the sweeps: a queryset's columns as numpy arrays, without building a model per row.

The cursor is read straight: on 60,000 rows the ORM's row converters cost more than every check together. So a column
asked for here must need no converter: numbers, ids, booleans, texts; no JSON, and moments as ``EpochSeconds``.
Numbers become arrays block by block: a row is let go while it is still in the processor's cache.
"""

from __future__ import annotations

import gc
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from copy import copy
from dataclasses import dataclass, field
from itertools import chain, compress
from typing import Any, NamedTuple, cast

import numpy as np
from django.core.exceptions import EmptyResultSet
from django.db import connection
from django.db.backends.base.base import BaseDatabaseWrapper
from django.db.models import (
    BooleanField,
    Case,
    F,
    Field,
    FloatField,
    ForeignKey,
    Func,
    IntegerField,
    Model,
    QuerySet,
    Value,
    When,
)
from django.db.models.functions import Cast
from django.db.models.sql.compiler import SQLCompiler
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
IdArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]

#: Stands for "no row" in a column of ids.
NO_ID = -1
#: Rows fetched at a time: a hundred kilobytes or two of small objects, made and freed in the cache.
_BLOCK = 256


@dataclass(frozen=True)
class Table:
    """Columns of equal length by name; ``raw`` has them as plain values, None where the database has none."""

    raw: Mapping[str, Sequence[Any]]
    size: int
    _floats: dict[str, FloatArray] = field(default_factory=dict, repr=False)
    _ids: dict[str, IdArray] = field(default_factory=dict, repr=False)
    _coded: dict[str, Coded] = field(default_factory=dict, repr=False)

    def floats(self, name: str) -> FloatArray:
        """A column of numbers, NaN where the database has none; made once, so not to be written to."""
        if name not in self._floats:
            self._floats[name] = np.array(self.raw[name], dtype=np.float64)
        return self._floats[name]

    def ids(self, name: str) -> IdArray:
        """A column of ids or counts, ``NO_ID`` where the database has none; made once, so not to be written to."""
        if name not in self._ids:
            column = self.floats(name)
            self._ids[name] = np.where(np.isnan(column), NO_ID, column).astype(np.int64)
        return self._ids[name]

    def bools(self, name: str) -> BoolArray:
        return np.asarray(self.floats(name) == 1.0)

    def texts(self, name: str) -> Sequence[str]:
        return self.raw[name]

    def coded(self, name: str) -> Coded:
        """A column of few different words as codes; those asked for as codes have been read so."""
        if name not in self._coded:
            known = _Codes()
            code = np.fromiter(map(known.__getitem__, self.raw[name]), np.int64, self.size)
            self._coded[name] = Coded(code, tuple(known))
        return self._coded[name]

    def where(self, mask: BoolArray) -> Table:
        """The rows of the mask; the table itself when that is all of them."""
        if mask.all():
            return self
        raw = {name: list(compress(column, mask)) for name, column in self.raw.items()}
        coded = {name: Coded(column.code[mask], column.words) for name, column in self._coded.items()}
        return Table(raw, int(mask.sum()), _coded=coded)


class Coded(NamedTuple):
    """A column of few different words: the place of each row's word among ``words``."""

    code: IdArray
    words: tuple[str, ...]


class _Columns(Mapping[str, Sequence[Any]]):
    """The columns of a table by name. Those held as arrays are made into plain values when somebody asks for them."""

    def __init__(
        self,
        values: dict[str, Sequence[Any]],
        numbers: Mapping[str, FloatArray],
        plain: Mapping[str, Callable[[float], Any]],
        coded: Mapping[str, Coded],
    ) -> None:
        self._values, self._numbers, self._plain, self._coded = values, numbers, plain, coded

    def __getitem__(self, name: str) -> Sequence[Any]:
        if name in self._values:
            return self._values[name]
        if name in self._coded:
            code, words = self._coded[name]
            self._values[name] = [words[number] for number in code.tolist()]
        else:
            make = self._plain[name]
            self._values[name] = [None if x != x else make(x) for x in self._numbers[name].tolist()]
        return self._values[name]

    def __iter__(self) -> Iterator[str]:
        return iter(dict.fromkeys([*self._plain, *self._coded, *self._values]))

    def __len__(self) -> int:
        return len({*self._plain, *self._coded, *self._values})


class EpochSeconds(Func):
    """A moment as seconds since 1970, worked out by the database: to make a ``datetime`` of each of 600,000 readings
    takes longer than to judge them. Good to some 0.04 ms; round before comparing."""

    output_field = FloatField()

    def as_sqlite(
        self, compiler: SQLCompiler, connection: BaseDatabaseWrapper, **more: Any
    ) -> tuple[str, Any]:
        template = "((julianday(%(expressions)s) - 2440587.5) * 86400.0)"
        return self.as_sql(compiler, connection, template=template, **more)

    def as_postgresql(
        self, compiler: SQLCompiler, connection: BaseDatabaseWrapper, **more: Any
    ) -> tuple[str, Any]:
        template = "EXTRACT(EPOCH FROM %(expressions)s)::double precision"
        return self.as_sql(compiler, connection, template=template, **more)


def code_of(name: str, words: Sequence[str]) -> Case:
    """A column of a few known words as the place of each word among them; none for any other word."""
    return Case(
        *(When(**{name: word}, then=Value(place)) for place, word in enumerate(words)),
        output_field=IntegerField(null=True),
    )


class _Number(Func):
    """A number, with something that is a number too where the database has none."""

    output_field = FloatField()

    def as_sqlite(
        self, compiler: SQLCompiler, connection: BaseDatabaseWrapper, **more: Any
    ) -> tuple[str, Any]:
        # SQLite has no NaN, and nobody stores an infinity.
        return self.as_sql(compiler, connection, template="IFNULL(%(expressions)s, 9e999)", **more)

    def as_postgresql(
        self, compiler: SQLCompiler, connection: BaseDatabaseWrapper, **more: Any
    ) -> tuple[str, Any]:
        template = "COALESCE((%(expressions)s)::double precision, 'NaN')"
        return self.as_sql(compiler, connection, template=template, **more)


def fetch(queryset: QuerySet[Any], *fields: str, coded: Sequence[str] = ()) -> Table:
    """Read these columns of a queryset in one statement; those in ``coded`` as codes and words."""
    kinds = {name: _field_of(queryset, name) for name in fields}
    numbers = [name for name in fields if isinstance(kinds[name], IntegerField | FloatField | BooleanField)]
    texts = [name for name in fields if name not in numbers]
    selected = [*(_selected(name, kinds[name]) for name in numbers), *texts, *coded]
    try:
        sql, params = queryset.values_list(*selected).query.sql_with_params()
    except EmptyResultSet:
        return Table(dict.fromkeys((*fields, *coded), ()), 0)
    with connection.cursor() as cursor, connection.wrap_database_errors, without_collection():
        cursor.execute(sql, params)
        floats, values, codes = _read(cursor.cursor, len(numbers), len(texts), len(coded))
    columns = _Columns(
        dict(zip(texts, values, strict=True)),
        by_name := dict(zip(numbers, floats, strict=True)),
        {name: _plain(kinds[name]) for name in numbers},
        words := dict(zip(coded, codes, strict=True)),
    )
    return Table(columns, floats.shape[1], by_name, _coded=words)


class _Codes(dict[str, int]):
    """Numbers for words, in the order in which they are met."""

    def __missing__(self, word: str) -> int:
        self[word] = number = len(self)
        return number


def _read(
    cursor: Any, numbers: int, texts: int, coded: int
) -> tuple[FloatArray, list[list[Any]], list[Coded]]:
    """The rows of a cursor as columns: first those of numbers, then texts, then texts as codes."""
    blocks: list[FloatArray] = []
    values: list[list[Any]] = [[] for _ in range(texts)]
    codes: list[list[IdArray]] = [[] for _ in range(coded)]
    words = [_Codes() for _ in range(coded)]
    while rows := cursor.fetchmany(_BLOCK):
        columns, size = list(zip(*rows, strict=True)), len(rows)
        flat = np.fromiter(chain.from_iterable(columns[:numbers]), np.float64, numbers * size)
        blocks.append(flat.reshape(numbers, size))
        for kept, column in zip(values, columns[numbers : numbers + texts], strict=True):
            kept.extend(column)
        for made, known, column in zip(codes, words, columns[numbers + texts :], strict=True):
            made.append(np.fromiter(map(known.__getitem__, column), np.int64, size))
    floats = np.concatenate(blocks, axis=1) if blocks else np.empty((numbers, 0))
    floats[np.isinf(floats)] = np.nan
    none = [np.empty(0, np.int64)]
    return (
        floats,
        values,
        [Coded(np.concatenate(made or none), tuple(known)) for made, known in zip(codes, words, strict=True)],
    )


def _field_of(queryset: QuerySet[Any], path: str) -> Field[Any, Any]:
    """The field at the end of a path; for a foreign key that of its target."""
    if path in queryset.query.annotations:
        return queryset.query.annotations[path].output_field
    model: type[Model] = queryset.model
    *relations, last = path.split("__")
    for name in relations:
        model = cast("type[Model]", model._meta.get_field(name).related_model)
    found = model._meta.pk if last == "pk" else model._meta.get_field(last)
    # What is reached over a relation may not be there.
    null = bool(relations) or bool(getattr(found, "null", False))
    while isinstance(found, ForeignKey):
        found = found.target_field
    if null and not found.null:
        found = copy(found)
        found.null = True
    return cast("Field[Any, Any]", found)


def _selected(name: str, kind: Field[Any, Any]) -> _Number | str:
    if isinstance(kind, BooleanField):
        return _Number(Cast(F(name), IntegerField()))
    return _Number(F(name)) if kind.null else name


def _plain(kind: Field[Any, Any]) -> Callable[[float], Any]:
    """What makes a plain value of a column's numbers."""
    if isinstance(kind, BooleanField):
        return bool
    return int if isinstance(kind, IntegerField) else float


@contextmanager
def without_collection() -> Iterator[None]:
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
