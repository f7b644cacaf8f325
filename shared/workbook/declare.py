"""Declaring a sheet from its model: what the model says (kind, unit, choices, help text) is not said twice.

sheet("Batteries", Battery, key=("code",), columns=[
    col("code", example="B01"),
    col("model", reference="Parts", example="AGM18"),
    "acquired_on",
])
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

from django.db import models

from shared.fields import label_for
from shared.units import unit_for_field
from shared.workbook.spec import Column, Kind, Registry, SheetSpec

_KINDS: tuple[tuple[type[models.Field[Any, Any]], Kind], ...] = (
    (models.ManyToManyField, Kind.REFERENCES),
    (models.ForeignKey, Kind.REFERENCE),
    (models.BooleanField, Kind.BOOL),
    (models.DateTimeField, Kind.DATETIME),
    (models.DateField, Kind.DATE),
    (models.IntegerField, Kind.INTEGER),
    (models.FloatField, Kind.QUANTITY),
    (models.DecimalField, Kind.DECIMAL),
    (models.JSONField, Kind.JSON),
)


def col(field: str, **said: Any) -> dict[str, Any]:
    """One column with what the model does not say; takes the arguments of ``Column``."""
    return {"field": field, **said}


def sheet(
    name: str,
    model: type[models.Model],
    *,
    key: Sequence[str],
    columns: Sequence[str | dict[str, Any]],
    **said: Any,
) -> SheetSpec:
    """A ``SheetSpec`` whose columns are filled in from the model's fields."""
    full = [_column(model, {"field": c} if isinstance(c, str) else c, tuple(key)) for c in columns]
    return SheetSpec(name=name, model=model, key=tuple(key), columns=tuple(full), **said)


def _column(model: type[models.Model], said: dict[str, Any], key: tuple[str, ...]) -> Column:
    found = {f.name: f for f in model._meta.get_fields() if isinstance(f, models.Field)}
    field = found.get(said["field"])
    if field is None:
        # A column that is no field of the model (a part of the key, a ledger figure) says everything itself.
        return Column(**{"heading": said["field"].replace("_", " ").capitalize(), "stored": False, **said})
    if said.get("kind") is None:
        said = {**said, "kind": _kind(field)}
    inferred: dict[str, Any] = {
        "heading": label_for(field),
        "explanation": str(field.help_text),
        "required": _required(field) or (field.name in key and not field.blank),
        "nullable": field.null,
        "keep_when_blank": field.has_default() and not field.null and field.default not in ("", list, dict),
        "stored": field.editable or said["kind"] in (Kind.REFERENCE, Kind.REFERENCES),
    }
    if said["kind"] in (Kind.QUANTITY, Kind.DECIMAL, Kind.INTEGER, Kind.AREA):
        inferred["unit"] = unit_for_field(field.name) or ""
    if isinstance(field, models.DecimalField):
        inferred["places"] = field.decimal_places
    if said["kind"] is Kind.CHOICE:
        inferred["choices"] = tuple((str(value), str(label)) for value, label in field.flatchoices)
    return Column(**{**inferred, **said})


def _kind(field: models.Field[Any, Any]) -> Kind:
    if field.flatchoices:
        return Kind.CHOICE
    return next((kind for model_field, kind in _KINDS if isinstance(field, model_field)), Kind.TEXT)


def _required(field: models.Field[Any, Any]) -> bool:
    return not field.blank and not field.null and not field.has_default()


def registry_from(parts: Sequence[Sequence[SheetSpec]]) -> Registry:
    """One registry from the lists the apps declare, with the query path of every column worked out."""
    registry = Registry([spec for specs in parts for spec in specs])
    return Registry([_with_paths(spec, registry) for spec in registry.specs])


def _with_paths(spec: SheetSpec, registry: Registry) -> SheetSpec:
    return replace(spec, columns=tuple(replace(c, path=path_of(c, registry)) for c in spec.columns))


def path_of(column: Column, registry: Registry) -> str:
    """The query path of what a column shows: for a reference the last part of the key it points at."""
    if column.path or not column.reference or column.lookup is not None:
        return column.path or column.field
    target = registry.spaces[column.reference][0]
    last = target.by_field[target.key[-1]]
    return f"{column.field}__{path_of(last, registry)}"
