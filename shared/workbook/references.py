"""Following references: from the text in a cell to the row it means, on record or in the same file."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import cast

from shared.workbook.cells_out import key_part, same
from shared.workbook.index import Index
from shared.workbook.problems import Problems
from shared.workbook.spec import Column, Key, Kind
from shared.workbook.store import Draft, Record

PART_SPLIT = " / "


class Resolver:
    """Sets ``draft.targets`` and writes the value as the row pointed at writes it itself."""

    def __init__(self, index: Index, problems: Problems) -> None:
        self.index = index
        self.problems = problems
        self._looked_up: dict[tuple[str, str], Mapping[str, object]] = {}

    def outward(self, draft: Draft) -> None:
        """References to earlier sheets: they may be part of the row's own key, so they come first."""
        for column in draft.spec.columns:
            if column.reference and column.lookup is None and column.reference != draft.spec.space:
                self._column(draft, column)

    def inward(self, draft: Draft) -> None:
        """References to rows of the same sheet, once all are known, and to things that are no sheet."""
        for column in draft.spec.columns:
            if column.lookup is not None:
                self._look_up(draft, column)
            elif column.reference == draft.spec.space:
                self._column(draft, column)

    def _column(self, draft: Draft, column: Column) -> None:
        value = draft.values.get(column.field)
        if value in (None, "", ()):
            return
        if column.kind is Kind.REFERENCES:
            words = [str(word) for word in cast(Iterable[object], value)]
            rows = [self._one(draft, column, word) for word in words]
            draft.values[column.field] = tuple(
                word if row is None else self._written(column, row)
                for word, row in zip(words, rows, strict=True)
            )
            draft.targets[column.field] = [row for row in rows if row is not None]
            return
        row = self._one(draft, column, str(value))
        if row is not None:
            draft.values[column.field] = self._written(column, row)
            draft.targets[column.field] = row

    def _one(self, draft: Draft, column: Column, text: str) -> Draft | Record | None:
        if any(name not in draft.values or self._unresolved(draft, name) for name in column.reference_with):
            return None  # the column that holds the first part of the key has its own error
        key = self._key(draft, column, text)
        row = self.index.find(column.reference, key)
        if row is None:
            self._refuse(draft, column, text, key)
        return row

    def _unresolved(self, draft: Draft, name: str) -> bool:
        column = draft.spec.by_field[name]
        return bool(column.reference) and draft.values[name] is not None and name not in draft.targets

    def _key(self, draft: Draft, column: Column, text: str) -> Key:
        if column.reference_with:
            return (*(key_part(draft.values[name]) for name in column.reference_with), key_part(text))
        parts = len(self.index.registry.key_of(column.reference))
        if parts == 1:
            return (key_part(text),)
        return tuple(key_part(part) for part in text.split(PART_SPLIT, parts - 1))

    def _written(self, column: Column, row: Draft | Record) -> object:
        key = row.key or ()
        if column.reference_with or len(key) == 1:
            return key[-1]
        return PART_SPLIT.join(str(part) for part in key)

    def _look_up(self, draft: Draft, column: Column) -> None:
        value = draft.values.get(column.field)
        if value in (None, ""):
            return
        if draft.existing is not None and same(draft.existing.values.get(column.field), value, column):
            return
        mark = (draft.spec.name, column.field)
        if mark not in self._looked_up:
            self._looked_up[mark] = self.index.store.lookup(column)
        known = self._looked_up[mark]
        found = known.get(str(value))
        if found is None:
            draft.bad = True
            names = ", ".join(sorted(known)[:10]) or "none yet"
            self.problems.add(
                draft.spec.name, f"“{value}” is not known here.", f"Known are: {names}. Or leave it empty.",
                row=draft.row, column=column.heading, value=value,
            )  # fmt: skip
        else:
            draft.targets[column.field] = found

    def _refuse(self, draft: Draft, column: Column, text: str, key: Key) -> None:
        draft.bad = True
        close = self.index.nearest(column.reference, key)
        titles = self.index.titles(column.reference)
        hint = f"Did you mean “{close}”? If not, add it to" if close else "Add it to"
        self.problems.add(
            draft.spec.name, f"“{text}” is not a row of {titles}.", f"{hint} {titles} first.",
            row=draft.row, column=column.heading, value=text,
        )  # fmt: skip
