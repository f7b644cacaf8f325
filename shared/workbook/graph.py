"""Rows that point at rows of their own sheet: loops, and an order in which they can be saved."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from shared.workbook.index import Index
from shared.workbook.spec import Column, Key, SheetSpec
from shared.workbook.store import Draft, Record


def loops(spec: SheetSpec, column: Column, drafts: Iterable[Draft], index: Index) -> Iterator[Draft]:
    """One draft of every loop that the file closes or leaves closed."""
    done: set[int] = set()
    for draft in drafts:
        path: list[Draft | Record] = []
        position: dict[int, int] = {}
        row: Draft | Record | None = draft
        while row is not None and id(row) not in done and id(row) not in position:
            position[id(row)] = len(path)
            path.append(row)
            row = _next(spec, column, row, index)
        if row is not None and id(row) in position:
            members = (member for member in path[position[id(row)] :] if isinstance(member, Draft))
            yield from [first for first in [next(members, None)] if first is not None]
        done.update(position)


def _next(spec: SheetSpec, column: Column, row: Draft | Record, index: Index) -> Draft | Record | None:
    if isinstance(row, Draft):
        if column.field in row.values:
            target = row.targets.get(column.field)
            return target if isinstance(target, Draft | Record) else None
        if row.existing is None:
            return None
        row = row.existing
    value = row.values.get(column.field)
    if value in (None, ""):
        return None
    key: Key = (*(row.values.get(name) for name in column.reference_with), value)
    return index.find(spec.space, key)


def in_dependency_order(spec: SheetSpec, drafts: list[Draft]) -> list[Draft]:
    """Drafts with every row after the rows of its own sheet that it points at; otherwise as given."""
    columns = spec.refers_to_itself()
    if not columns:
        return drafts
    done: set[int] = set()
    ordered: list[Draft] = []
    for start in drafts:
        stack = [(start, False)]
        while stack:
            draft, ready = stack.pop()
            if ready:
                ordered.append(draft)
            elif id(draft) not in done:
                done.add(id(draft))
                stack.append((draft, True))
                stack.extend((target, False) for target in _targets(draft, columns) if id(target) not in done)
    return ordered


def _targets(draft: Draft, columns: Iterable[Column]) -> Iterator[Draft]:
    for column in columns:
        found = draft.targets.get(column.field)
        for target in found if isinstance(found, list) else [found]:
            if isinstance(target, Draft):
                yield target
