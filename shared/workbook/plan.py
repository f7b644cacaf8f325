"""What an import would do, for a person to look at before anything is changed."""

from __future__ import annotations

from dataclasses import asdict, dataclass, field

from shared.workbook.problems import CellError


@dataclass(frozen=True)
class FieldChange:
    """One value that would change."""

    heading: str
    old: str
    new: str


@dataclass(frozen=True)
class RowChange:
    """One row that would be added or changed."""

    row: int
    name: str
    changes: tuple[FieldChange, ...]


@dataclass
class SheetPlan:
    """What would happen to one sheet. Rows on record that the file does not name are left as they are."""

    name: str
    added: list[RowChange] = field(default_factory=list)
    changed: list[RowChange] = field(default_factory=list)
    unchanged: int = 0
    not_in_file: int = 0


@dataclass
class PlanSummary:
    """The whole preview. ``fingerprint`` stands for the file and for the state it was compared with."""

    file_name: str
    sheets: list[SheetPlan] = field(default_factory=list)
    errors: list[CellError] = field(default_factory=list)
    error_count: int = 0
    notes: list[str] = field(default_factory=list)
    fingerprint: str = ""

    @property
    def ok(self) -> bool:
        return self.error_count == 0

    @property
    def added(self) -> int:
        return sum(len(sheet.added) for sheet in self.sheets)

    @property
    def changed(self) -> int:
        return sum(len(sheet.changed) for sheet in self.sheets)

    @property
    def unchanged(self) -> int:
        return sum(sheet.unchanged for sheet in self.sheets)

    @property
    def changes_nothing(self) -> bool:
        return self.ok and not self.added and not self.changed

    def as_dict(self) -> dict[str, object]:
        """The preview as plain data, for the API and the command line."""
        return {
            "file": self.file_name,
            "ok": self.ok,
            "fingerprint": self.fingerprint,
            **self.counts(),
            "notes": self.notes,
            "error_list": [{**asdict(error), "sentence": error.sentence} for error in self.errors],
            "sheets": [asdict(sheet) for sheet in self.sheets],
        }

    def counts(self) -> dict[str, int]:
        return {
            "added": self.added,
            "changed": self.changed,
            "left": self.unchanged,
            "errors": self.error_count,
        }
