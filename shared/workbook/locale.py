"""How a file writes numbers and dates: the Settings sheet. What it does not say is never guessed."""

from __future__ import annotations

import zoneinfo
from collections.abc import Iterable
from dataclasses import dataclass

from shared.workbook.problems import Problems

SETTINGS_SHEET = "Settings"
POINT, COMMA = "point", "comma"
YEAR_FIRST, DAY_FIRST, MONTH_FIRST = "year first", "day first", "month first"


@dataclass(frozen=True)
class Locale:
    """Decimal mark, order of the parts of a date, time zone of times that name none."""

    decimal_comma: bool = False
    date_order: str = YEAR_FIRST
    time_zone: str = "UTC"

    @property
    def zone(self) -> zoneinfo.ZoneInfo:
        return zoneinfo.ZoneInfo(self.time_zone)

    def rows(self) -> list[tuple[str, str, str]]:
        """The Settings sheet as written: name, value, explanation."""
        return [
            ("Decimal mark", COMMA if self.decimal_comma else POINT, "point for 12.6, comma for 12,6"),
            ("Date order", self.date_order, "year first (2026-11-25), day first (25/11/2026) or month first"),
            (
                "Time zone",
                self.time_zone,
                "For times without an offset, such as Europe/Paris or America/New_York",
            ),
        ]


def read_locale(rows: Iterable[tuple[int, list[object]]], problems: Problems, default: Locale) -> Locale:
    """The settings of a file; an unknown setting or value is an error like any other."""
    found = {"decimal mark": POINT, "date order": default.date_order, "time zone": default.time_zone}
    allowed = {"decimal mark": (POINT, COMMA), "date order": (YEAR_FIRST, DAY_FIRST, MONTH_FIRST)}
    for number, cells in rows:
        texts = [" ".join(str(cell).split()) for cell in cells[:2] if cell is not None]
        if len(texts) < 2 or texts[0].casefold() in ("setting", "name"):
            continue
        name, value = texts[0].casefold(), texts[1]
        if name not in found:
            problems.add(
                SETTINGS_SHEET, f"“{texts[0]}” is not a setting.",
                "The settings are Decimal mark, Date order and Time zone.", row=number, value=texts[0],
            )  # fmt: skip
        elif name in allowed and value.casefold() not in allowed[name]:
            problems.add(
                SETTINGS_SHEET, f"“{value}” is not a {name}.",
                f"Write {' or '.join(allowed[name])}.", row=number, column=texts[0], value=value,
            )  # fmt: skip
        elif name == "time zone" and not _known_zone(value):
            problems.add(
                SETTINGS_SHEET, f"“{value}” is not a time zone.",
                "Write a name such as UTC, Europe/Paris or America/New_York.",
                row=number, column=texts[0], value=value,
            )  # fmt: skip
        else:
            found[name] = value if name == "time zone" else value.casefold()
    return Locale(found["decimal mark"] == COMMA, found["date order"], found["time zone"])


def _known_zone(name: str) -> bool:
    try:
        zoneinfo.ZoneInfo(name)
    except (zoneinfo.ZoneInfoNotFoundError, ValueError, OSError):
        return False
    return True
