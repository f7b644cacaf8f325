"""Rows by key, on record and in the file, so that one can point at another."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from difflib import get_close_matches

from shared.workbook.cells_out import key_part
from shared.workbook.spec import Key, Registry, SheetSpec
from shared.workbook.store import Draft, Record, Store

# Looking for the nearest name is slow; a file full of wrong names gets hints for the first of them.
MAX_SUGGESTIONS = 50
MAX_COMPARED = 2_000


def fold(key: Key) -> Key:
    """A key without case and inner blanks, to tell a slip of the shift key from another row."""
    return tuple("".join(part.split()).casefold() if isinstance(part, str) else part for part in key)


class Index:
    """All rows a file can point at. Records are asked for one sheet at a time, and once."""

    def __init__(self, registry: Registry, store: Store) -> None:
        self.registry = registry
        self.store = store
        self._records: dict[str, dict[Key, Record]] = {}
        self.drafts: dict[str, dict[Key, Draft]] = {}
        self._suggestions = 0
        self._folded: dict[str, dict[Key, Draft | Record]] = {}

    def records(self, spec: SheetSpec) -> dict[Key, Record]:
        """Rows on record of a sheet by key; the n-th of equal keys has n appended when keys may repeat."""
        if spec.name not in self._records:
            found: dict[Key, Record] = {}
            counts: Counter[Key] = Counter()
            for record in self.store.records(spec):
                found[self.numbered(spec, record.key, counts)] = record
            self._records[spec.name] = found
        return self._records[spec.name]

    def loaded(self) -> dict[str, dict[Key, Record]]:
        return self._records

    @staticmethod
    def numbered(spec: SheetSpec, key: Key, counts: Counter[Key]) -> Key:
        """The key, with a running number where keys may repeat."""
        if not spec.repeats:
            return key
        counts[key] += 1
        return (*key, counts[key] - 1)

    def register(self, spec: SheetSpec, key: Key, draft: Draft) -> None:
        for space in {spec.space, spec.name}:
            self.drafts.setdefault(space, {})[key] = draft
            self._folded.get(space, {}).setdefault(fold(key), draft)

    def find(self, space: str, key: Key) -> Draft | Record | None:
        """The row of that key: in the file, else on record, else one that differs in case only."""
        exact = self.drafts.get(space, {}).get(key) or self.on_record(space, key)
        return exact or self._by_fold(space).get(fold(key))

    def on_record(self, space: str, key: Key) -> Record | None:
        for spec in self.registry.spaces[space]:
            if record := self.records(spec).get(key):
                return record
        return None

    def alike(self, space: str, key: Key) -> Draft | Record | None:
        """A row whose key differs from this one in case or blanks only."""
        other = self._by_fold(space).get(fold(key))
        return other if other is not None and other.key != key else None

    def _by_fold(self, space: str) -> dict[Key, Draft | Record]:
        if space not in self._folded:
            rows: Iterable[tuple[Key, Draft | Record]] = [
                *self.drafts.get(space, {}).items(),
                *(item for spec in self.registry.spaces[space] for item in self.records(spec).items()),
            ]
            self._folded[space] = {fold(key): row for key, row in reversed(list(rows))}
        return self._folded[space]

    def nearest(self, space: str, key: Key) -> str:
        """The last part of the key that looks most like this one, or ''. Asked often, it stops answering."""
        self._suggestions += 1
        if self._suggestions > MAX_SUGGESTIONS:
            return ""
        keys = [
            *self.drafts.get(space, {}),
            *(known for spec in self.registry.spaces[space] for known in self.records(spec)),
        ]
        last = {str(known[-1]).casefold(): str(known[-1]) for known in keys if known[:-1] == key[:-1]}
        close = get_close_matches(str(key[-1]).casefold(), list(last)[:MAX_COMPARED], n=1, cutoff=0.5)
        return last[close[0]] if close else ""

    def titles(self, space: str) -> str:
        names = [spec.name for spec in self.registry.spaces[space]]
        return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} or {names[-1]}"


def key_of(spec: SheetSpec, values: dict[str, object]) -> Key:
    """The key of a row from its values."""
    return tuple(key_part(values.get(name)) for name in spec.key)
