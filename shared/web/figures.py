"""Figures as text: fixed decimals, a true minus sign, figure spaces so that columns line up."""

from __future__ import annotations

import math
from dataclasses import dataclass
from decimal import ROUND_HALF_UP, Decimal, InvalidOperation, localcontext

FIGURE_SPACE = "\u2007"
NARROW_SPACE = "\u202f"
MINUS = "\u2212"
NO_VALUE = "\u2013"


@dataclass(frozen=True, slots=True)
class Unit:
    """How a quantity is printed: sign, spoken name, decimals, and the factor from the stored value."""

    sign: str
    name: str
    decimals: int
    factor: float = 1.0


UNITS: dict[str, Unit] = {
    "ohm": Unit("Ω", "ohm", 3),
    "mohm": Unit("mΩ", "milliohm", 1),
    "a": Unit("A", "ampere", 1),
    "v": Unit("V", "volt", 2),
    "mv": Unit("mV", "millivolt", 0),
    "w": Unit("W", "watt", 0),
    "wh": Unit("Wh", "watt-hour", 0),
    "ah": Unit("Ah", "ampere-hour", 1),
    "a2s": Unit("A²s", "ampere squared seconds", 0),
    "m": Unit("m", "metre", 2),
    "mm": Unit("mm", "millimetre", 1),
    "mm2": Unit("mm²", "square millimetre", 2),
    "nm": Unit("N·m", "newton metre", 1),
    "n": Unit("N", "newton", 0),
    "kg": Unit("kg", "kilogram", 1),
    "c": Unit("°C", "degree Celsius", 0),
    "s": Unit("s", "second", 1),
    "min": Unit("min", "minute", 0),
    "h": Unit("h", "hour", 1),
    "d": Unit("d", "day", 0),
    "days": Unit("days", "days", 0),
    "frac": Unit("%", "per cent", 0, 100.0),
    "count": Unit("", "pieces", 0),
    "usd": Unit("$", "US dollar", 2),
    "eur": Unit("€", "euro", 2),
}


def sign_of(unit: str) -> str:
    """The sign people read for a unit; what is no key of ours stays as it is.

    >>> sign_of("mohm"), sign_of("V")
    ('mΩ', 'V')
    """
    return UNITS[unit].sign if unit in UNITS else unit


def as_decimal(value: object) -> Decimal | None:
    """Return the value as a finite Decimal, or None when it is missing, not a number or not finite."""
    if value is None or value == "" or isinstance(value, bool):
        return None
    if isinstance(value, float) and not math.isfinite(value):
        return None
    try:
        number = Decimal(str(value))
    except (InvalidOperation, ValueError):
        return None
    return number if number.is_finite() else None


def parse_decimals(decimals: int | str) -> tuple[int, int]:
    """Return (fewest, most) decimals from 2 or "0-2"."""
    low, _, high = str(decimals).partition("-")
    fewest = int(low)
    most = int(high) if high else fewest
    if not 0 <= fewest <= most <= 12:
        raise ValueError(f"decimals {decimals!r}: expected a number like 2 or a range like 0-2")
    return fewest, most


def format_figure(value: object, decimals: int | str = 2) -> str:
    """Return a number with aligned decimals; a missing value is a dash in the units place.

    With a range such as "0-2" trailing zeros beyond the fewest become figure spaces, so that right-aligned
    figures of one column still share their decimal point.
    """
    fewest, most = parse_decimals(decimals)
    number = as_decimal(value)
    tail = FIGURE_SPACE * (most + 1 if most else 0)
    if number is None:
        return NO_VALUE + tail
    with localcontext() as rounding:
        rounding.rounding = ROUND_HALF_UP  # as people round by hand; the default would print 12.345 as 12.34
        text = f"{number:.{most}f}"
    sign = MINUS if text.startswith("-") and any(ch in "123456789" for ch in text) else ""
    whole, _, part = text.lstrip("-").partition(".")
    kept = part.rstrip("0").ljust(fewest, "0")
    pad = FIGURE_SPACE * (most - len(kept))
    if not kept:
        return sign + group(whole) + tail
    return sign + group(whole) + "." + kept + pad


def group(digits: str) -> str:
    """Return whole digits in threes from five digits on: 4200, 12 000."""
    if len(digits) < 5:
        return digits
    return f"{int(digits):,}".replace(",", NARROW_SPACE)
