"""What the engine needs from where rows are kept: Django in ``django_store``, plain memory in tests."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from contextlib import AbstractContextManager
from dataclasses import dataclass, field
from typing import Protocol

from shared.workbook.spec import Column, Key, SheetSpec, Values


def key_text(key: Key | None) -> str:
    """A key as a person reads it."""
    return " / ".join("–" if part is None else str(part) for part in key or ())


@dataclass(frozen=True, eq=False)
class Record:
    """A row on record: its key, its values column by column, and the store's handle for it."""

    spec: SheetSpec
    key: Key
    values: Values
    handle: object


@dataclass(eq=False)
class Draft:
    """A row of the file on its way in."""

    spec: SheetSpec
    row: int
    values: Values
    key: Key | None = None
    existing: Record | None = None
    changed: tuple[str, ...] = ()
    targets: dict[str, object] = field(
        default_factory=dict
    )  # field -> Draft | Record | looked-up object | list
    bad: bool = False
    instance: object = None

    @property
    def title(self) -> str:
        """The key as a person reads it."""
        return key_text((self.key or ())[: len(self.spec.key)])

    @property
    def to_save(self) -> bool:
        return not self.bad and (self.existing is None or bool(self.changed))

    @property
    def touched(self) -> tuple[str, ...]:
        """The fields that saving it would set."""
        return self.changed if self.existing is not None else tuple(self.values)


@dataclass(frozen=True)
class UniqueRule:
    """Rows for which ``applies`` holds must differ in ``fields``."""

    fields: tuple[str, ...]
    message: str
    applies: Callable[[Values], bool] | None = None


# A row refused by the store: the draft, the field ('' for the whole row), what is wrong, what would be right.
Refusal = tuple[Draft, str, str, str]


class Store(Protocol):
    """Where a team's rows are kept."""

    def records(self, spec: SheetSpec) -> Iterable[Record]: ...

    def lookup(self, column: Column) -> Mapping[str, object]: ...

    def unique_rules(self, spec: SheetSpec) -> Sequence[UniqueRule]: ...

    def check(self, spec: SheetSpec, drafts: Sequence[Draft]) -> Iterable[Refusal]: ...

    def transaction(self) -> AbstractContextManager[None]: ...

    def save(self, spec: SheetSpec, drafts: Sequence[Draft]) -> None: ...
