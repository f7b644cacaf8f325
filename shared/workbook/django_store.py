"""A team's rows in the database: read in one query a sheet, checked in memory, saved by the services."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from datetime import UTC, datetime
from decimal import Decimal
from functools import partial
from typing import Any, cast

from django.core.exceptions import ValidationError
from django.db import IntegrityError, models, transaction
from django.db.models import Q, UniqueConstraint
from simple_history.utils import bulk_create_with_history

from shared.access import Scope
from shared.errors import Conflict, DomainError
from shared.models import JobRun, Team
from shared.records import errors_by_field, record_save, sweeps_after
from shared.workbook.conditions import CannotJudge, broken_checks, holds
from shared.workbook.index import key_of
from shared.workbook.spec import Column, Kind, SheetSpec, Values
from shared.workbook.store import Draft, Record, Refusal, UniqueRule

_BATCH = 500


class DjangoStore:
    """The store of one team and one person."""

    def __init__(self, scope: Scope) -> None:
        self.scope = scope
        self._known: dict[tuple[type[models.Model], object], models.Model] = {}

    # --- reading ---------------------------------------------------------------------------------

    def records(self, spec: SheetSpec) -> Iterator[Record]:
        """The team's rows of a sheet: one query, and one more for each column of several references."""
        single = [c for c in spec.columns if c.kind is not Kind.REFERENCES]
        several = {c.field: self._several(spec, c) for c in spec.columns if c.kind is Kind.REFERENCES}
        rows = self._queryset(spec).order_by(*(spec.order or self._default_order(spec)), "pk")
        for pk, *raw in rows.values_list("pk", *(c.path or c.field for c in single)):
            values: Values = {c.field: to_plain(value, c) for c, value in zip(single, raw, strict=True)}
            values.update({field: tuple(found.get(pk, ())) for field, found in several.items()})
            yield Record(spec, key_of(spec, values), values, pk)

    def _queryset(self, spec: SheetSpec) -> models.QuerySet[models.Model]:
        rows: models.QuerySet[models.Model] = spec.model._default_manager.filter(
            **{spec.team_path: self.scope.team}, **spec.only
        )
        return rows

    @staticmethod
    def _default_order(spec: SheetSpec) -> list[str]:
        return [spec.by_field[name].path or name for name in spec.key]

    def _several(self, spec: SheetSpec, column: Column) -> dict[object, list[str]]:
        found: dict[object, list[str]] = {}
        rows = self._queryset(spec).filter(**{f"{column.field}__isnull": False})
        for pk, name in rows.order_by("pk", column.path).values_list("pk", column.path):
            found.setdefault(pk, []).append(str(name))
        return found

    def lookup(self, column: Column) -> Mapping[str, object]:
        return column.lookup(self.scope.team) if column.lookup else {}

    # --- rules -----------------------------------------------------------------------------------

    def unique_rules(self, spec: SheetSpec) -> Sequence[UniqueRule]:
        """The unique constraints of the model that its columns can show; the key has been checked already."""
        rules = []
        for _model, constraints in spec.model().get_constraints():
            for constraint in constraints:
                if not isinstance(constraint, UniqueConstraint) or constraint.expressions:
                    continue
                fields = _as_columns(constraint.fields, spec)
                if fields is None or (set(fields) == set(spec.key) and constraint.condition is None):
                    continue
                applies = None if constraint.condition is None else partial(_applies, constraint.condition)
                rules.append(UniqueRule(fields, _message(constraint), applies))
        return rules

    def check(self, spec: SheetSpec, drafts: Sequence[Draft]) -> Iterable[Refusal]:
        """What the model itself refuses: fields, ``clean`` and check constraints."""
        self._build(spec, drafts)
        # Relations were resolved to rows of this team; asking for each again would be a query a cell.
        relations = {"team", *(c.field for c in spec.columns if c.reference)}
        for draft in drafts:
            for field, message in _refused(draft, relations):
                column = spec.by_field.get(field)
                yield draft, field if column else "", message, _remedy(column)

    # --- saving ----------------------------------------------------------------------------------

    @contextmanager
    def transaction(self) -> Iterator[None]:
        """All or nothing; two imports into one team wait for each other."""
        try:
            with transaction.atomic():
                Team.objects.select_for_update().get(pk=self.scope.team.pk)
                yield
        except IntegrityError as exc:
            raise Conflict(
                "The database refused a row of the file; nothing was imported",
                remedy="Look at the preview again: somebody may have added the same row meanwhile",
            ) from exc

    def save(self, spec: SheetSpec, drafts: Sequence[Draft]) -> None:
        self._build(spec, drafts)
        new = [draft for draft in drafts if draft.existing is None]
        if spec.bulk and spec.writer is None and new:
            self._create_many(spec, new)
            drafts = [draft for draft in drafts if draft.existing is not None]
        for draft in drafts:
            self._save_one(spec, draft)

    def _create_many(self, spec: SheetSpec, drafts: Sequence[Draft]) -> None:
        instances = [draft.instance for draft in drafts]
        bulk_create_with_history(instances, spec.model, batch_size=_BATCH, default_user=self.scope.user)
        sweeps_after([cast(Any, instances[0])], scope=self.scope, trigger=JobRun.Trigger.IMPORT)

    def _save_one(self, spec: SheetSpec, draft: Draft) -> None:
        instance: Any = draft.instance
        for column in spec.stored:
            target = draft.targets.get(column.field)
            if isinstance(target, Draft) and column.field in draft.touched:
                setattr(
                    instance, column.field, target.instance
                )  # it has been saved since, and has its key now
        try:
            self._write(spec, draft, instance)
        except ValidationError as error:
            sentences = [m for messages in errors_by_field(error).values() for m in messages]
            raise Conflict(f"{spec.name}, row {draft.row}: {' '.join(sentences)}") from error
        except DomainError as error:
            raise Conflict(f"{spec.name}, row {draft.row}: {error.message}", remedy=error.remedy) from error
        for column in spec.stored:
            if column.kind is Kind.REFERENCES and column.field in draft.touched:
                targets = cast(list[object], draft.targets.get(column.field, []))
                getattr(instance, column.field).set([self._target(target) for target in targets])

    def _write(self, spec: SheetSpec, draft: Draft, instance: Any) -> None:
        if spec.writer is None:
            record_save(scope=self.scope, instance=instance, trigger=JobRun.Trigger.IMPORT)
            return
        values = {name: self._written(draft, name) for name in draft.touched}
        spec.writer(scope=self.scope, instance=instance, values=values, created=draft.existing is None)

    def _written(self, draft: Draft, name: str) -> object:
        column = draft.spec.by_field[name]
        target = draft.targets.get(name)
        if column.kind is Kind.REFERENCE and target is not None:
            return self._target(target)
        return draft.values[name]

    # --- rows as instances -----------------------------------------------------------------------

    def _build(self, spec: SheetSpec, drafts: Sequence[Draft]) -> None:
        """Give every draft its instance with the values of the file on it; a query a model, not a row."""
        self._fetch(spec.model, (d.existing.handle for d in drafts if d.existing is not None))
        self._fetch_targets(drafts)
        for draft in drafts:
            if draft.existing is None:
                draft.instance = spec.model(team=self.scope.team)
            else:
                draft.instance = self._known[spec.model, draft.existing.handle]
        for draft in drafts:
            for name in draft.touched:
                column = spec.by_field[name]
                if column.stored and column.kind is not Kind.REFERENCES:
                    setattr(draft.instance, name, self._model_value(draft, column))

    def _fetch(self, model: type[models.Model], handles: Iterable[object]) -> None:
        wanted = [pk for pk in set(handles) if (model, pk) not in self._known]
        for start in range(0, len(wanted), _BATCH):
            found = model._default_manager.in_bulk(cast(Any, wanted[start : start + _BATCH]))
            self._known.update({(model, pk): row for pk, row in found.items()})

    def _fetch_targets(self, drafts: Sequence[Draft]) -> None:
        wanted: dict[type[models.Model], set[object]] = {}
        for draft in drafts:
            for found in draft.targets.values():
                for target in found if isinstance(found, list) else [found]:
                    if (record := _record(target)) is not None:
                        wanted.setdefault(record.spec.model, set()).add(record.handle)
        for model, handles in wanted.items():
            self._fetch(model, handles)

    def _target(self, target: object) -> object:
        if isinstance(target, Draft) and (target.instance is not None or target.existing is None):
            return target.instance  # None where the row pointed at has errors of its own
        record = _record(target)
        if record is None:
            return target
        return self._known[record.spec.model, record.handle]

    def _model_value(self, draft: Draft, column: Column) -> object:
        value = draft.values[column.field]
        if column.kind is Kind.REFERENCE:
            target = draft.targets.get(column.field)
            return None if target is None else self._target(target)
        if column.kind is Kind.POINTS:
            return [list(pair) for pair in cast(Iterable[Iterable[float]], value)]
        if column.kind is Kind.LIST:
            words = cast(Iterable[str], value)
            as_json = isinstance(draft.spec.model._meta.get_field(column.field), models.JSONField)
            return list(words) if as_json else "; ".join(words)
        return value


def to_plain(value: object, column: Column) -> object:
    """A value of the database as the engine compares it."""
    if value is None:
        return column.blank
    match column.kind:
        case Kind.POINTS:
            return tuple((float(x), float(y)) for x, y in cast(Iterable[tuple[float, float]], value))
        case Kind.LIST:
            words = value.split(";") if isinstance(value, str) else cast(Iterable[object], value)
            return tuple(text for word in words if (text := str(word).strip()))
        case Kind.DATETIME:
            return cast(datetime, value).astimezone(UTC)
        case Kind.REFERENCE:
            return str(value)
        case Kind.QUANTITY | Kind.NUMBER | Kind.AREA:
            return float(cast(Any, value))
        case Kind.DECIMAL:
            return Decimal(str(value))
        case _:
            return value


def _record(target: object) -> Record | None:
    if isinstance(target, Draft):
        return target.existing
    return target if isinstance(target, Record) else None


def _as_columns(fields: Iterable[str], spec: SheetSpec) -> tuple[str, ...] | None:
    """The columns that show the fields of a constraint, or None when a field has no column."""
    columns: list[str] = []
    for name in fields:
        if name == "team":
            continue
        if name not in spec.by_field:
            return None
        columns += [n for n in spec.by_field[name].reference_with if n not in columns]
        columns.append(name)
    return tuple(columns)


def _applies(condition: Q, values: Values) -> bool:
    try:
        return holds(condition, values.get) is True
    except (CannotJudge, TypeError):
        return False


def _message(constraint: UniqueConstraint) -> str:
    own = constraint.violation_error_message
    if own and own != constraint.default_violation_error_message:
        return str(own)
    return "Two rows may not be alike here."


def _refused(draft: Draft, relations: set[str]) -> list[tuple[str, str]]:
    instance = cast(models.Model, draft.instance)
    judges: list[Callable[[], None]] = [partial(instance.clean_fields, exclude=relations)]
    if not any(isinstance(target, Draft) and target.bad for target in draft.targets.values()):
        judges.append(instance.clean)  # it may look at related rows, and that one will not come about
    for judge in judges:
        try:
            judge()
        except ValidationError as error:
            return [(field, m) for field, messages in errors_by_field(error).items() for m in messages]
    return broken_checks(instance)


def _remedy(column: Column | None) -> str:
    if column is None:
        return "Change one of the values of this row."
    meant = f"{column.explanation.rstrip('.')}. " if column.explanation else ""
    shown = f"For example {column.example}." if column.example else ""
    return f"{meant}{shown}".strip() or f"Correct what stands under {column.heading}."
