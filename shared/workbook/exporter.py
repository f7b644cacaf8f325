"""A team's rows as sheets of cells, and the empty template."""

from __future__ import annotations

from shared.workbook.book_out import OutSheet, write_csv_zip, write_xlsx
from shared.workbook.cells_out import to_cell
from shared.workbook.locale import Locale
from shared.workbook.spec import Registry
from shared.workbook.store import Store

XLSX, CSV = "xlsx", "csv"


def export_book(registry: Registry, store: Store, locale: Locale, form: str = XLSX) -> bytes:
    """All rows of the team as a file that imports to the same state."""
    sheets = [
        OutSheet(
            spec,
            [[to_cell(r.values.get(c.field), c, locale) for c in spec.columns] for r in store.records(spec)],
        )
        for spec in registry.specs
    ]
    if form == CSV:
        return write_csv_zip(sheets, locale, explain=False)
    return write_xlsx(sheets, registry, locale)


def template_book(registry: Registry, locale: Locale, form: str = XLSX) -> bytes:
    """The same file without rows: headings, explanations, examples, choices."""
    sheets = [OutSheet(spec, []) for spec in registry.specs if not spec.export_only]
    if form == CSV:
        return write_csv_zip(sheets, locale, explain=True)
    return write_xlsx(sheets, registry, locale)
