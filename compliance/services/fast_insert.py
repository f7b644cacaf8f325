"""Rows inserted as plain values: for thousands of alike rows the ORM's way costs ten times what the database takes."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from typing import Any

from django.db import connection
from django.db.models import DateTimeField, Field, JSONField, Model, QuerySet

from compliance.services.plain import as_json


def insert_rows(model: type[Model], names: Sequence[str], rows: Iterable[Sequence[Any]]) -> None:
    """Insert rows of the named columns. The values are taken as they are: nothing is validated or filled in."""
    by_name = {field.attname: field for field in model._meta.concrete_fields}
    fields = [by_name[name] for name in names]
    prepare = [_preparer(field) for field in fields]
    quote = connection.ops.quote_name
    marks = ", ".join(
        "%s::jsonb" if isinstance(field, JSONField) and connection.vendor == "postgresql" else "%s"
        for field in fields
    )
    columns = ", ".join(quote(str(field.column)) for field in fields)
    acting = [(place, act) for place, act in enumerate(prepare) if act is not None]
    values = [list(row) for row in rows]
    if not values:
        return
    for row in values:
        for place, act in acting:
            row[place] = act(row[place])
    with connection.cursor() as cursor:
        # Only names of tables and columns are put into the statement; the values are its parameters.
        sql = f"INSERT INTO {quote(model._meta.db_table)} ({columns}) VALUES ({marks})"  # noqa: S608
        cursor.executemany(sql, values)


def insert_selected(model: type[Model], names: Sequence[str], rows: QuerySet[Any, Any]) -> None:
    """Insert what a query selects, in the order of the named columns, without its rows leaving the database."""
    by_name = {field.attname: field for field in model._meta.concrete_fields}
    quote = connection.ops.quote_name
    columns = ", ".join(quote(str(by_name[name].column)) for name in names)
    sql, params = rows.query.sql_with_params()
    with connection.cursor() as cursor:
        # Only names of tables and columns are put into the statement; the values are its parameters.
        cursor.execute(f"INSERT INTO {quote(model._meta.db_table)} ({columns}) {sql}", params)


def _preparer(field: Field[Any, Any]) -> Callable[[Any], Any] | None:
    """How the database wants a column's values, or None where it takes them as they are."""
    if isinstance(field, JSONField):
        return as_json
    if isinstance(field, DateTimeField):
        known: dict[Any, Any] = {}

        def adapted(moment: Any) -> Any:
            # The rows of a sweep share a moment or two.
            if moment not in known:
                known[moment] = connection.ops.adapt_datetimefield_value(moment)
            return known[moment]

        return adapted
    return None
