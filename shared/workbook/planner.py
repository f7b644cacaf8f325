"""From tables to a plan: which rows are new, which differ, which point nowhere; all errors at once."""

from __future__ import annotations

import hashlib
from collections import Counter
from collections.abc import Iterator, Sequence
from difflib import get_close_matches

from shared.workbook.cells_out import key_part, same, to_text
from shared.workbook.graph import in_dependency_order, loops
from shared.workbook.headers import OWN_NOTE, find_header
from shared.workbook.index import Index, key_of
from shared.workbook.locale import SETTINGS_SHEET, Locale, read_locale
from shared.workbook.plan import FieldChange, PlanSummary, RowChange, SheetPlan
from shared.workbook.problems import Problems
from shared.workbook.raw import RawSheet, normalise
from shared.workbook.references import Resolver
from shared.workbook.rows import read_rows
from shared.workbook.spec import Key, Registry, SheetSpec, Values
from shared.workbook.store import Draft, Store, key_text

GUIDE_SHEET, LISTS_SHEET = "Guide", "Lists"


class Planner:
    """Compares a file with what is on record. Reads only; ``shared.workbook.service`` applies the result."""

    def __init__(self, registry: Registry, store: Store, locale: Locale) -> None:
        self.registry = registry
        self.store = store
        self.locale = locale
        self.problems = Problems()
        self.index = Index(registry, store)
        self.resolver = Resolver(self.index, self.problems)
        self.drafts: dict[str, list[Draft]] = {}
        self.notes: list[str] = []
        self._counts: dict[str, Counter[Key]] = {}

    def run(self, tables: Sequence[RawSheet], file_name: str) -> PlanSummary:
        """The preview. The drafts stay in ``self.drafts``, sheet by sheet, in an order that can be saved."""
        for table in tables:
            if normalise(table.name) == normalise(SETTINGS_SHEET):
                self.locale = read_locale(table.rows, self.problems, self.locale)
        by_name = self._match_sheets(tables)
        for spec in self.registry.specs:
            if spec.name in by_name:
                self.drafts[spec.name] = self._read(by_name[spec.name], spec)
        for spec in self._planned():
            self._compare(spec, self.drafts[spec.name])
        for spec in self._planned():
            self._check_loops(spec)
            self._check_unique(spec)
            self._check_store(spec)
            self.drafts[spec.name] = self._saving_order(spec)
        return self._summary(file_name)

    def _planned(self) -> list[SheetSpec]:
        return [spec for spec in self.registry.specs if spec.name in self.drafts]

    def _match_sheets(self, tables: Sequence[RawSheet]) -> dict[str, RawSheet]:
        specs = {normalise(spec.name): spec for spec in self.registry.specs}
        ours = {normalise(name) for name in (SETTINGS_SHEET, GUIDE_SHEET, LISTS_SHEET)}
        found: dict[str, RawSheet] = {}
        for table in tables:
            name = normalise(table.name)
            spec = specs.get(name)
            if name in ours or table.name.startswith(OWN_NOTE):
                continue
            if spec is None:
                if table.rows:
                    self._unknown_sheet(table, [s.name for s in self.registry.specs])
            elif spec.export_only:
                self.notes.append(f"Sheet {spec.name} is written on export only; it was not read.")
            elif spec.name in found:
                self.problems.add(table.name, "This sheet occurs twice.", "Keep one of the two.")
            else:
                found[spec.name] = table
        if not found and not self.problems:
            self.problems.add("", "The file holds none of our sheets.", "Start from the template.")
        return found

    def _unknown_sheet(self, table: RawSheet, names: list[str]) -> None:
        close = get_close_matches(table.name, names, n=1, cutoff=0.6)
        hint = f"Did you mean “{close[0]}”?" if close else f"The sheets are {', '.join(names)}."
        self.problems.add(
            table.name, f"“{table.name}” is not a sheet of the workbook.",
            f"{hint} A sheet whose name starts with # is left alone.", value=table.name,
        )  # fmt: skip

    def _read(self, table: RawSheet, spec: SheetSpec) -> list[Draft]:
        table.name = spec.name
        header = find_header(table, spec, self.problems)
        if header is None:
            return []
        drafts = read_rows(table, spec, header, self.locale, self.problems)
        placed = {p.column.field for p in header.placed}
        if not placed.issuperset(spec.key):
            return []  # told once, at the headings
        for draft in drafts:
            self.resolver.outward(draft)
            self._register(spec, draft)
        return drafts

    def _register(self, spec: SheetSpec, draft: Draft) -> None:
        if any(name not in draft.values and not spec.by_field[name].keep_when_blank for name in spec.key):
            return
        taken = self.index.drafts.get(spec.space, {})
        key = Index.numbered(spec, key_of(spec, draft.values), self._counts.setdefault(spec.name, Counter()))
        draft.key = key
        if (first := taken.get(key)) is not None:
            where = f"row {first.row}" if first.spec is spec else f"sheet {first.spec.name}, row {first.row}"
            self._refuse(draft, f"“{key_text(key)}” is also in {where}.", "Keep one of the two rows.")
            return
        self.index.register(spec, key, draft)

    def _refuse(self, draft: Draft, message: str, remedy: str, field: str = "") -> None:
        draft.bad = True
        field = field or draft.spec.key[-1]
        self.problems.add(
            draft.spec.name, message, remedy, row=draft.row, column=draft.spec.by_field[field].heading,
            value=self._text(draft, field),
        )  # fmt: skip

    def _text(self, draft: Draft, field: str) -> str:
        return to_text(draft.values.get(field), draft.spec.by_field[field])

    def _compare(self, spec: SheetSpec, drafts: list[Draft]) -> None:
        records = self.index.records(spec)
        for draft in drafts:
            if draft.key is None:
                draft.bad = True
                continue
            draft.existing = records.get(draft.key)
            self.resolver.inward(draft)
            if draft.existing is None:
                self._check_new(spec, draft)
                continue
            old = draft.existing.values
            draft.changed = tuple(
                name
                for name, value in draft.values.items()
                if not same(old.get(name), value, spec.by_field[name])
            )
            if draft.changed and spec.append_only:
                headings = ", ".join(spec.by_field[name].heading for name in draft.changed)
                self._refuse(
                    draft, f"This row is on record and would change in {headings}; recorded figures stay.",
                    "Put the old value back, or correct it on its own page.", draft.changed[0],
                )  # fmt: skip

    def _check_new(self, spec: SheetSpec, draft: Draft) -> None:
        assert draft.key is not None
        other = self.index.on_record(spec.space, draft.key)
        if other is not None:
            self._refuse(
                draft, f"“{draft.title}” is on record in sheet {other.spec.name}.", "Use another key."
            )
            return
        alike = self.index.alike(spec.space, draft.key)
        if alike is not None and not spec.repeats:
            self._refuse(
                draft, f"“{draft.title}” differs from “{key_text(alike.key)}” in capitals or blanks only.",
                f"Write {key_text(alike.key)} if it is the same, else a name not mistaken for it.",
            )  # fmt: skip

    def _check_loops(self, spec: SheetSpec) -> None:
        for column in spec.refers_to_itself():
            for draft in loops(spec, column, self.drafts[spec.name], self.index):
                self._refuse(
                    draft, f"“{draft.title}” leads back to itself through {column.heading}.",
                    "Change one of the rows of the loop.", column.field,
                )  # fmt: skip

    def _check_unique(self, spec: SheetSpec) -> None:
        for rule in self.store.unique_rules(spec):
            seen: dict[tuple[object, ...], str] = {}
            for values, draft in self._final_state(spec):
                if rule.applies is not None and not rule.applies(values):
                    continue
                if any(values.get(name) is None for name in rule.fields):
                    continue
                mark = tuple(key_part(values[name]) for name in rule.fields)
                if mark in seen and draft is not None:
                    message = f"{rule.message} It is {seen[mark]}."
                    self._refuse(draft, message, "Change one of the two.", rule.fields[-1])
                seen.setdefault(mark, "on record" if draft is None else f"in row {draft.row}")

    def _final_state(self, spec: SheetSpec) -> Iterator[tuple[Values, Draft | None]]:
        """The rows as they would be after the import: first those the file does not touch."""
        drafts = {draft.key: draft for draft in self.drafts[spec.name] if draft.key is not None}
        for key, record in self.index.records(spec).items():
            if key not in drafts:
                yield record.values, None
        for draft in drafts.values():
            yield {**(draft.existing.values if draft.existing else {}), **draft.values}, draft

    def _check_store(self, spec: SheetSpec) -> None:
        drafts = [draft for draft in self.drafts[spec.name] if draft.to_save]
        for draft, field, message, remedy in self.store.check(spec, drafts):
            draft.bad = True
            column = spec.by_field.get(field)
            self.problems.add(
                spec.name, message, remedy, row=draft.row, column=column.heading if column else "",
                value=self._text(draft, field) if column else "",
            )  # fmt: skip

    def _saving_order(self, spec: SheetSpec) -> list[Draft]:
        """Rows that leave a one-at-a-time state before those that enter it; targets first."""
        rules = [rule for rule in self.store.unique_rules(spec) if rule.applies is not None]

        def entering(draft: Draft) -> int:
            return sum(1 for rule in rules if rule.applies is not None and rule.applies(draft.values))

        drafts = sorted(self.drafts[spec.name], key=entering) if rules else self.drafts[spec.name]
        return in_dependency_order(spec, drafts)

    def fingerprint(self) -> str:
        """A digest of the rows on record that the file was compared with."""
        digest = hashlib.sha256()
        for name in sorted(self.index.loaded()):
            for line in sorted(repr((k, r.handle, r.values)) for k, r in self.index.loaded()[name].items()):
                digest.update(f"{name} {line}\n".encode("utf-8", "surrogatepass"))
        return digest.hexdigest()

    def _summary(self, file_name: str) -> PlanSummary:
        plan = PlanSummary(file_name=file_name, notes=self.notes, fingerprint=self.fingerprint())
        for spec in self._planned():
            plan.sheets.append(self._sheet_plan(spec))
        plan.errors = sorted(self.problems.errors, key=self._reading_order)
        plan.error_count = self.problems.count
        return plan

    def _reading_order(self, error: object) -> tuple[int, int]:
        names = list(self.registry.by_name)
        sheet, row = getattr(error, "sheet", ""), getattr(error, "row", None)
        return (names.index(sheet) if sheet in names else -1, row or 0)

    def _sheet_plan(self, spec: SheetSpec) -> SheetPlan:
        plan = SheetPlan(spec.name)
        named = set()
        for draft in sorted(self.drafts[spec.name], key=lambda d: d.row):
            if draft.existing is not None:
                named.add(draft.key)
            if not draft.to_save:
                plan.unchanged += 0 if draft.bad else 1
                continue
            old = draft.existing.values if draft.existing else {}
            changes = tuple(
                FieldChange(
                    column.heading, to_text(old.get(name), column), to_text(draft.values[name], column)
                )
                for name, column in ((name, spec.by_field[name]) for name in draft.touched)
                if draft.existing is not None or draft.values[name] not in (None, "", ())
            )
            row = RowChange(draft.row, draft.title, changes)
            (plan.changed if draft.existing else plan.added).append(row)
        plan.not_in_file = len(self.index.records(spec)) - len(named)
        return plan
