"""A store that keeps rows in memory, and a small world of sheets that uses every kind of column."""

from __future__ import annotations

import io
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from typing import Any

import openpyxl

from shared.workbook.exporter import export_book
from shared.workbook.index import key_of
from shared.workbook.locale import Locale
from shared.workbook.service import ImportPlan, apply_made_plan, make_plan
from shared.workbook.spec import Column, Kind, Registry, SheetSpec, Values
from shared.workbook.store import Draft, Record, Refusal, UniqueRule
from shared.workbook.tables import SourceFile


class MemoryStore:
    """Rows as dictionaries. ``rules`` and ``refuse`` stand in for what a database would say."""

    def __init__(self) -> None:
        self.rows: dict[str, list[Values]] = {}
        self.saved: list[tuple[str, object]] = []
        self.people: dict[str, object] = {"ada": 1, "grace": 2}
        self.rules: dict[str, list[UniqueRule]] = {}

    def records(self, spec: SheetSpec) -> Iterator[Record]:
        for number, values in enumerate(self.rows.get(spec.name, [])):
            yield Record(spec, key_of(spec, values), dict(values), number)

    def lookup(self, column: Column) -> Mapping[str, object]:
        return self.people

    def unique_rules(self, spec: SheetSpec) -> Sequence[UniqueRule]:
        return self.rules.get(spec.name, [])

    def check(self, spec: SheetSpec, drafts: Sequence[Draft]) -> Iterable[Refusal]:
        for draft in drafts:
            value = draft.values.get("resistance_mohm")
            if isinstance(value, float) and value > 500:
                yield draft, "resistance_mohm", "The resistance is not plausible.", "Was it in ohm?"

    @contextmanager
    def transaction(self) -> Iterator[None]:
        before = {name: [dict(values) for values in rows] for name, rows in self.rows.items()}
        try:
            yield
        except BaseException:
            self.rows = before
            raise

    def save(self, spec: SheetSpec, drafts: Sequence[Draft]) -> None:
        rows = self.rows.setdefault(spec.name, [])
        for draft in drafts:
            self.saved.append((spec.name, draft.key))
            if draft.existing is not None:
                number = draft.existing.handle
                assert isinstance(number, int)
                rows[number].update({name: draft.values[name] for name in draft.changed})
            else:
                rows.append({c.field: draft.values.get(c.field, c.blank) for c in spec.columns})


def _column(field: str, heading: str, **rest: Any) -> Column:
    return Column(field=field, heading=heading, explanation=f"What {heading} means", **rest)


BINS = SheetSpec(
    name="Bins",
    model=None,
    key=("code",),
    columns=(_column("code", "Code", required=True, example="A1", nullable=False),
             _column("name", "Name", nullable=False),
             _column("travels", "Travels", kind=Kind.BOOL, keep_when_blank=True)),
)  # fmt: skip
WIRES = SheetSpec(
    name="Wires",
    model=None,
    namespace="Parts",
    key=("code",),
    columns=(_column("code", "Code", required=True, nullable=False),
             _column("size_typed", "Size", kind=Kind.SIZE, example="12 AWG", required=True),
             _column("grip_mm2", "Grips up to", kind=Kind.AREA, unit="mm2"),
             _column("price", "Price", kind=Kind.DECIMAL, places=2),
             _column("bins", "Bins", kind=Kind.REFERENCES, reference="Bins")),
)  # fmt: skip
BATTERIES = SheetSpec(
    name="Batteries",
    model=None,
    namespace="Parts",
    key=("code",),
    columns=(_column("code", "Code", required=True, nullable=False),
             _column("acquired_on", "Acquired on", kind=Kind.DATE),
             _column("state", "State", kind=Kind.CHOICE, keep_when_blank=True,
                     choices=(("service", "In service"), ("retired", "Retired"))),
             _column("curve", "Rest curve", kind=Kind.POINTS, example="1.0:12.85; 0.5:12.3"),
             _column("cycles", "Cycles", kind=Kind.INTEGER),
             _column("extra", "Extra", kind=Kind.JSON),
             _column("studs", "Studs", kind=Kind.LIST)),
)  # fmt: skip
READINGS = SheetSpec(
    name="Readings",
    model=None,
    key=("battery", "taken_at", "instrument"),
    bulk=True,
    columns=(_column("battery", "Battery", kind=Kind.REFERENCE, reference="Parts", required=True),
             _column("taken_at", "Taken at", kind=Kind.DATETIME, required=True),
             _column("instrument", "Instrument", required=True, nullable=False),
             _column("resistance_mohm", "Resistance (mΩ)", kind=Kind.QUANTITY, unit="mohm", required=True),
             _column("charge_frac", "State of charge", kind=Kind.QUANTITY, unit="frac"),
             _column("by", "By", kind=Kind.REFERENCE, reference="people", lookup=lambda team: {})),
)  # fmt: skip
BUILDS = SheetSpec(
    name="Builds",
    model=None,
    key=("robot", "label"),
    columns=(_column("robot", "Robot", required=True), _column("label", "Build", required=True),
             _column("current", "Current", kind=Kind.BOOL, nullable=False)),
)  # fmt: skip
CIRCUITS = SheetSpec(
    name="Circuits",
    model=None,
    key=("robot", "build", "code"),
    columns=(_column("robot", "Robot", required=True, stored=False),
             _column("build", "Build", kind=Kind.REFERENCE, reference="Builds", reference_with=("robot",),
                     required=True),
             _column("code", "Code", required=True),
             _column("fed_from", "Fed from", kind=Kind.REFERENCE, reference="Circuits",
                     reference_with=("robot", "build")),
             _column("length_m", "Length (m)", kind=Kind.QUANTITY, unit="m")),
)  # fmt: skip
REGISTRY = Registry([BINS, WIRES, BATTERIES, READINGS, BUILDS, CIRCUITS])
LOCALE = Locale()


def xlsx(**sheets: Sequence[Sequence[Any]]) -> SourceFile:
    """A plain workbook from rows of cells, as a spreadsheet program would hold them."""
    book = openpyxl.Workbook()
    book.remove(book.worksheets[0])
    for name, rows in sheets.items():
        sheet = book.create_sheet(name)
        for row in rows:
            sheet.append(list(row))
    out = io.BytesIO()
    book.save(out)
    return SourceFile("test.xlsx", out.getvalue())


def plan(source: SourceFile, store: MemoryStore, registry: Registry = REGISTRY) -> ImportPlan:
    return make_plan(source, registry, lambda: store, LOCALE)


def run(source: SourceFile, store: MemoryStore, registry: Registry = REGISTRY) -> ImportPlan:
    made = plan(source, store, registry)
    assert made.errors == []
    apply_made_plan(made)
    return made


def exported(store: MemoryStore, form: str = "xlsx", registry: Registry = REGISTRY) -> SourceFile:
    return SourceFile(f"export.{form}", export_book(registry, store, LOCALE, form))


def told(made: ImportPlan) -> list[str]:
    return [error.sentence for error in made.errors]
