"""What a sheet is: its columns, the key that names a row, and how rows of one sheet point at rows of another.

The engine knows nothing else about the product. Apps declare ``SheetSpec``s (``shared.workbook.declare``
fills in what the model already says) and a ``Registry`` holds them in the order in which they can be read in.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from typing import Any

# One row as the engine sees it: column field -> plain value. A field that is absent is left as it is.
Values = dict[str, object]
Key = tuple[object, ...]


class Kind(StrEnum):
    """What a cell holds, and so how it is read, compared and written."""

    TEXT = "text"
    NUMBER = "number"
    INTEGER = "integer"
    QUANTITY = "quantity"  # float in ``unit``
    DECIMAL = "decimal"  # exact; with ``unit`` it also takes quantities
    DATE = "date"
    DATETIME = "datetime"
    CHOICE = "choice"
    BOOL = "bool"
    SIZE = "size"  # wire size kept as typed: 12 AWG, 2.5 mm2
    AREA = "area"  # conductor area in mm2; takes a wire size too
    LIST = "list"  # words: M8; M6
    POINTS = "points"  # pairs of numbers: 1.0:12.85; 0.5:12.30
    JSON = "json"
    REFERENCE = "reference"  # a row of another sheet (or of this one), by its key
    REFERENCES = "references"  # several of them: R1; R2


@dataclass(frozen=True, kw_only=True)
class Column:
    """One column of a sheet.

    ``reference`` names the namespace of the rows pointed at (the sheet's name, unless sheets share one);
    ``reference_with`` the columns of this row that hold the leading parts of their key. ``stored=False``
    columns are read and compared but not set on the row: a part of the key, or a figure that a writer turns
    into a ledger line. ``keep_when_blank``: an empty cell leaves what is there (or takes the default).
    """

    field: str
    heading: str = ""
    explanation: str = ""
    example: str = ""
    kind: Kind = Kind.TEXT
    required: bool = False
    unit: str = ""
    places: int | None = None
    choices: tuple[tuple[str, str], ...] = ()
    reference: str = ""
    reference_with: tuple[str, ...] = ()
    lookup: Callable[[Any], Mapping[str, object]] | None = None
    stored: bool = True
    path: str = ""
    keep_when_blank: bool = False
    nullable: bool = True
    aliases: tuple[str, ...] = ()

    @property
    def blank(self) -> object:
        """The plain value of an empty cell."""
        if self.kind in (Kind.LIST, Kind.POINTS, Kind.REFERENCES):
            return ()
        if not self.nullable and self.kind in (Kind.TEXT, Kind.SIZE, Kind.CHOICE):
            return ""
        return None


@dataclass(frozen=True, kw_only=True)
class SheetSpec:
    """One sheet: rows of one model that belong to one team.

    ``key`` names the columns that together name a row; with ``repeats`` a key may occur more than once and
    the n-th in the file is the n-th on record. ``complete`` may fill in values that follow from others.
    ``writer`` saves a row in place of the default (``shared.records.record_save``): it is called with
    keywords scope, instance, values (what the file gave and that differs), created. ``bulk`` adds rows in
    batches, with history. ``export_only`` sheets are written and, on import, passed over. ``only`` narrows
    the rows of the model to those of the sheet. A column may refer to a namespace, which allows all its
    sheets, or to one sheet by name.
    """

    name: str
    model: Any
    key: tuple[str, ...]
    columns: tuple[Column, ...]
    about: str = ""
    namespace: str = ""
    order: tuple[str, ...] = ()
    repeats: bool = False
    append_only: bool = False
    export_only: bool = False
    bulk: bool = False
    team_path: str = "team"
    only: Mapping[str, object] = field(default_factory=dict, hash=False)
    complete: Callable[[Values], None] | None = None
    writer: Callable[..., object] | None = None
    by_field: dict[str, Column] = field(
        init=False, repr=False, compare=False, hash=False, default_factory=dict
    )

    def __post_init__(self) -> None:
        self.by_field.update({column.field: column for column in self.columns})
        if len(self.by_field) != len(self.columns):
            raise ValueError(f"Sheet {self.name}: a field is declared twice")
        for name in (*self.key, *(w for c in self.columns for w in c.reference_with)):
            if name not in self.by_field:
                raise ValueError(f"Sheet {self.name}: no column {name}")

    @property
    def space(self) -> str:
        return self.namespace or self.name

    @property
    def stored(self) -> tuple[Column, ...]:
        return tuple(column for column in self.columns if column.stored)

    def refers_to_itself(self) -> tuple[Column, ...]:
        return tuple(c for c in self.columns if c.reference == self.space and c.stored)


class Registry:
    """The sheets of a workbook in reading order; checks that references can be followed."""

    def __init__(self, specs: Iterable[SheetSpec]) -> None:
        self.specs: tuple[SheetSpec, ...] = tuple(specs)
        self.by_name = {spec.name: spec for spec in self.specs}
        if len(self.by_name) != len(self.specs):
            raise ValueError("Two sheets have the same name")
        self.spaces: dict[str, list[SheetSpec]] = {}
        for spec in self.specs:
            for space in {spec.space, spec.name}:
                self.spaces.setdefault(space, []).append(spec)
            for column in spec.columns:
                if column.reference and column.lookup is None:
                    self._check_reference(spec, column)

    def _check_reference(self, spec: SheetSpec, column: Column) -> None:
        if column.reference not in self.spaces:
            raise ValueError(f"Sheet {spec.name}, {column.field}: {column.reference} is no earlier sheet")
        key = self.spaces[column.reference][0].key
        if column.reference_with and len(column.reference_with) != len(key) - 1:
            raise ValueError(
                f"Sheet {spec.name}, {column.field}: the key of {column.reference} has {len(key)} parts"
            )

    def key_of(self, namespace: str) -> tuple[str, ...]:
        return self.spaces[namespace][0].key
