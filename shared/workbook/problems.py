"""What is wrong with a file: refusals of the whole, and errors that say where, what and what instead."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field

from shared.errors import DomainError
from shared.workbook.limits import MAX_ERRORS

SHOWN_CHARS = 80


class WorkbookRefused(DomainError):
    """The file as a whole cannot be taken: too large, not a workbook, encrypted."""


class CellProblem(ValueError):
    """A cell whose value cannot be used; the reader of the row adds where it stands."""

    def __init__(self, message: str, remedy: str) -> None:
        self.message = message
        self.remedy = remedy
        super().__init__(f"{message} {remedy}")


@dataclass(frozen=True)
class CellError:
    """One error of a file. ``row`` is None for a whole sheet, ``column`` is empty for a whole row."""

    sheet: str
    row: int | None
    column: str
    value: str
    message: str
    remedy: str

    @property
    def where(self) -> str:
        parts = [self.sheet] if self.sheet else []
        if self.row is not None:
            parts.append(f"row {self.row}")
        if self.column:
            parts.append(self.column)
        return ", ".join(parts)

    @property
    def sentence(self) -> str:
        told = f"{self.message} {self.remedy}".strip()
        return f"{self.where}: {told}" if self.where else told


def shown(value: object) -> str:
    """A value as it is quoted in an error: one line, not endless."""
    text = " ".join(str("" if value is None else value).split())
    return text if len(text) <= SHOWN_CHARS else text[: SHOWN_CHARS - 1] + "…"


@dataclass
class Problems:
    """All errors of a file, up to a limit that keeps the page readable; the count goes on past it."""

    errors: list[CellError] = field(default_factory=list)
    count: int = 0

    def add(
        self,
        sheet: str,
        message: str,
        remedy: str,
        *,
        row: int | None = None,
        column: str = "",
        value: object = "",
    ) -> None:
        self.count += 1
        if len(self.errors) < MAX_ERRORS:
            self.errors.append(CellError(sheet, row, column, shown(value), message, remedy))

    def __bool__(self) -> bool:
        return self.count > 0

    def __iter__(self) -> Iterator[CellError]:
        return iter(self.errors)
