"""One cell to one plain value, by the kind of its column. Wrong ones raise ``CellProblem`` with a remedy."""

from __future__ import annotations

import json
import math
import re
from collections.abc import Callable
from datetime import UTC, date, datetime, time, timedelta
from decimal import Decimal
from difflib import get_close_matches

from shared.electrical.gauges import SizeError, parse_size
from shared.points import parse_points
from shared.units import UnitError, parse_decimal, parse_quantity
from shared.workbook.escape import unescape
from shared.workbook.limits import MAX_CELL_CHARS
from shared.workbook.locale import DAY_FIRST, MONTH_FIRST, Locale
from shared.workbook.problems import CellProblem
from shared.workbook.raw import Special
from shared.workbook.spec import Column, Kind

TRUE_WORDS = frozenset({"yes", "y", "true", "t", "1", "x", "on", "✓", "✔"})
FALSE_WORDS = frozenset({"no", "n", "false", "f", "0", "off", "-"})
_CONTROL = re.compile(r"[\x00-\x08\x0b\x0c\x0e-\x1f\x7f\ud800-\udfff\ufffe\uffff]")
_ISO_DATE = re.compile(r"(\d{4})-(\d{1,2})-(\d{1,2})\Z")
_THREE = re.compile(
    r"(\d{1,2})\s*[/.\-]\s*(\d{1,2})\s*[/.\-]\s*(\d{4})(?:[ T,]+(\d{1,2}):(\d{2})(?::(\d{2}))?)?\Z"
)
_NAMED = re.compile(
    r"(\d{1,2})\.?[\s-]+([A-Za-z]{3,9})\.?,?[\s-]+(\d{4})(?:[ ,]+(\d{1,2}):(\d{2})(?::(\d{2}))?)?\Z"
)
_MONTHS = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")
# Serial numbers of the years 1954 to 2119: a bare number outside is more likely something else.
_SERIALS = (20_000, 80_000)


class Reader:
    """Reads the cells of one table: knows how the file writes numbers and dates, and where serials begin."""

    def __init__(self, locale: Locale, epoch: datetime) -> None:
        self.locale = locale
        self.zone = locale.zone
        self.epoch = epoch
        self._by_kind: dict[Kind, Callable[[object, Column, str], object]] = {
            Kind.TEXT: self._text,
            Kind.NUMBER: self._quantity,
            Kind.INTEGER: self._integer,
            Kind.QUANTITY: self._quantity,
            Kind.DECIMAL: self._decimal,
            Kind.DATE: self._date,
            Kind.DATETIME: self._datetime,
            Kind.CHOICE: self._choice,
            Kind.BOOL: self._bool,
            Kind.SIZE: self._size,
            Kind.AREA: self._area,
            Kind.LIST: self._list,
            Kind.POINTS: self._points,
            Kind.JSON: self._json,
            Kind.REFERENCE: self._text,
            Kind.REFERENCES: self._list,
        }

    def read(self, cell: object, column: Column, unit: str = "") -> object:
        """The plain value of a cell that is not blank. ``unit`` is that of the heading when it differs."""
        if cell is Special.NO_RESULT:
            raise CellProblem(
                "The cell holds a formula whose result is not stored in the file.",
                "Open the file in a spreadsheet program and save it, or write the value itself.",
            )
        if cell is Special.BROKEN:
            raise CellProblem(
                "The cell shows a spreadsheet error.", "Mend the formula or write the value itself."
            )
        try:
            return self._by_kind[column.kind](cell, column, unit)
        except UnitError as error:
            raise CellProblem(error.message, error.remedy) from None
        except SizeError as error:
            raise CellProblem(f"“{error.value}” is not a wire size.", error.remedy) from None

    def _text(self, cell: object, column: Column, unit: str) -> str:
        if isinstance(cell, bool):
            return "TRUE" if cell else "FALSE"
        if isinstance(cell, float) and cell.is_integer() and abs(cell) < 1e15:
            return str(int(cell))
        if isinstance(cell, datetime) and cell.time() == time():
            return cell.date().isoformat()
        text = unescape(str(cell)).strip()
        if len(text) > MAX_CELL_CHARS:
            raise CellProblem(
                "The text is longer than a cell can hold.", f"Keep it under {MAX_CELL_CHARS} characters."
            )
        if _CONTROL.search(text):
            raise CellProblem("The text holds control characters.", "Type it again instead of pasting it.")
        return text

    def _number_cell(self, cell: object, column: Column) -> object:
        if isinstance(cell, bool | date | time | timedelta):
            what = "yes or no" if isinstance(cell, bool) else "a date or time"
            raise CellProblem(
                f"The cell holds {what}, not a number.",
                "Set the format of the cell to number and type it again.",
            )
        return unescape(cell) if isinstance(cell, str) else cell

    def _quantity(self, cell: object, column: Column, unit: str) -> float:
        cell = self._number_cell(cell, column)
        comma = self.locale.decimal_comma
        if unit:
            # A plain number below “Length (ft)” is in feet; a cell that names its own unit keeps it.
            try:
                plain = parse_quantity(cell, "", decimal_comma=comma)
            except UnitError:
                return parse_quantity(cell, column.unit, decimal_comma=comma)
            return parse_quantity(f"{plain!r} {unit}", column.unit)
        return parse_quantity(cell, column.unit, decimal_comma=comma)

    def _decimal(self, cell: object, column: Column, unit: str) -> Decimal:
        cell = self._number_cell(cell, column)
        if isinstance(cell, float) and math.isfinite(cell):
            # Sums of a spreadsheet end in binary dust (0.1 + 0.2); twelve figures are more than money needs.
            cell = Decimal(f"{cell:.12g}")
        if not unit:
            try:
                return parse_decimal(cell, decimal_comma=self.locale.decimal_comma)
            except UnitError:
                if not column.unit:
                    raise
        value = Decimal(f"{self._quantity(cell, column, unit):.12g}")
        return value if column.places is None else round(value, column.places)

    def _integer(self, cell: object, column: Column, unit: str) -> int:
        value = self._quantity(cell, column, unit)
        if not value.is_integer() or abs(value) > 2**53:
            raise CellProblem(f"“{cell}” is not a whole number.", f"Write a whole number{_like(column)}.")
        return int(value)

    def _bool(self, cell: object, column: Column, unit: str) -> bool:
        if isinstance(cell, bool):
            return cell
        word = unescape(
            str(int(cell)) if isinstance(cell, float) and cell.is_integer() else str(cell)
        ).casefold()
        if word in TRUE_WORDS or word in FALSE_WORDS:
            return word in TRUE_WORDS
        raise CellProblem(f"“{cell}” is neither yes nor no.", "Write yes or no.")

    def _choice(self, cell: object, column: Column, unit: str) -> str:
        text = self._text(cell, column, unit)
        known = {label.casefold(): value for value, label in column.choices}
        known |= {value.casefold(): value for value, _ in column.choices}
        if text.casefold() in known:
            return known[text.casefold()]
        labels = [label for _, label in column.choices]
        close = get_close_matches(text, labels, n=1)
        hint = f"Did you mean “{close[0]}”? " if close else ""
        raise CellProblem(f"“{text}” is not one of the choices.", f"{hint}Write one of: {', '.join(labels)}.")

    def _size(self, cell: object, column: Column, unit: str) -> str:
        return parse_size(self._text(cell, column, unit)).size_typed

    def _area(self, cell: object, column: Column, unit: str) -> float:
        if isinstance(cell, str):
            try:
                return parse_size(cell).area_mm2
            except SizeError:
                pass  # a plain number is an area here; what is neither is told about both
        try:
            return self._quantity(cell, column, unit)
        except UnitError as error:
            raise CellProblem(
                error.message, "Write an area such as 2.5 mm2 or a size such as 12 AWG."
            ) from None

    def _list(self, cell: object, column: Column, unit: str) -> tuple[str, ...]:
        words = (word.strip() for word in re.split(r"[;\n]", self._text(cell, column, unit)))
        return tuple(dict.fromkeys(word for word in words if word))

    def _points(self, cell: object, column: Column, unit: str) -> tuple[tuple[float, float], ...]:
        return parse_points(self._text(cell, column, unit), decimal_comma=self.locale.decimal_comma)

    def _json(self, cell: object, column: Column, unit: str) -> object:
        try:
            return json.loads(self._text(cell, column, unit), parse_constant=_no_constant)
        except (ValueError, RecursionError) as error:
            raise CellProblem(
                "The cell is not valid JSON.", f"Copy the form of the example{_like(column)}."
            ) from error

    def _date(self, cell: object, column: Column, unit: str) -> date:
        moment = self._moment(cell)
        if isinstance(moment, datetime):
            if moment.time() != time():
                raise CellProblem(f"“{cell}” has a time of day.", "Write the day alone, such as 2026-11-25.")
            return moment.date()
        return moment

    def _datetime(self, cell: object, column: Column, unit: str) -> datetime:
        moment = self._moment(cell)
        if not isinstance(moment, datetime):
            moment = datetime.combine(moment, time())
        try:
            return (moment if moment.tzinfo else moment.replace(tzinfo=self.zone)).astimezone(UTC)
        except OverflowError:
            raise CellProblem(f"“{cell}” is not a usable time.", "Write it as 2026-11-25 14:30.") from None

    def _moment(self, cell: object) -> date | datetime:
        if isinstance(cell, datetime):
            return _to_millisecond(cell)
        if isinstance(cell, date):
            return cell
        if isinstance(cell, int | float) and not isinstance(cell, bool):
            return self._serial(float(cell), str(cell))
        if isinstance(cell, str):
            text = unescape(cell)
            return (
                self._serial(float(text), text)
                if re.fullmatch(r"\d{5}(\.\d{1,12})?", text)
                else self._typed(text)
            )
        raise _no_date(cell, self.locale)

    def _serial(self, number: float, text: str) -> datetime:
        if not math.isfinite(number) or not _SERIALS[0] <= number <= _SERIALS[1]:
            raise _no_date(text, self.locale)
        return _to_millisecond(self.epoch + timedelta(days=number))

    def _typed(self, text: str) -> date | datetime:
        try:
            if match := _ISO_DATE.match(text):
                return date(int(match[1]), int(match[2]), int(match[3]))
            if match := _NAMED.match(text):
                month = _MONTHS.index(match[2][:3].casefold()) + 1
                return _build(match[3], str(month), match[1], match.groups()[3:])
            if match := _THREE.match(text):
                if self.locale.date_order == DAY_FIRST:
                    return _build(match[3], match[2], match[1], match.groups()[3:])
                if self.locale.date_order == MONTH_FIRST:
                    return _build(match[3], match[1], match[2], match.groups()[3:])
                raise CellProblem(
                    f"“{text}” does not say which number is the month.",
                    "Write 2026-11-25, or set Date order to day first or month first on the Settings sheet.",
                )
            return datetime.fromisoformat(text)
        except CellProblem:
            raise
        except (ValueError, OverflowError):
            raise _no_date(text, self.locale) from None


def _build(year: str, month: str, day: str, clock: tuple[str | None, ...]) -> date | datetime:
    whole = date(int(year), int(month), int(day))
    if clock[0] is None:
        return whole
    return datetime.combine(whole, time(int(clock[0]), int(clock[1] or 0), int(clock[2] or 0)))


def _to_millisecond(moment: datetime) -> datetime:
    """Serial dates are fractions of a day: 14:30 comes back a few microseconds off."""
    rounded = moment + timedelta(microseconds=500)
    return rounded.replace(microsecond=rounded.microsecond // 1000 * 1000)


def _no_date(cell: object, locale: Locale) -> CellProblem:
    return CellProblem(
        f"“{cell}” is not a date.", "Write it as 2026-11-25, or 2026-11-25 14:30 with the time."
    )


def _no_constant(name: str) -> object:
    raise ValueError(name)


def _like(column: Column) -> str:
    return f", such as {column.example}" if column.example else ""
