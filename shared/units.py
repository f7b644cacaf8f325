"""Quantities as people type them, at the edges only: text in, a float in the field's unit out, and back.

Inside the product every quantity is a float whose unit is in its name (``length_m``); forms, the API, the
workbook and the commands come through here. Pint is loaded at the first text that carries a unit, and asked
once per spelling, so a column of ten thousand lengths costs one question. Arithmetic is exact (fractions) up
to the last step, so that 3 ft is 0.9144 m and not 0.9144000000000001 m.
"""

from __future__ import annotations

import math
import re
from decimal import Decimal
from fractions import Fraction
from functools import lru_cache
from typing import TYPE_CHECKING, Any

from shared.unit_names import ALIASES, SUFFIX_ALIASES, TEMPERATURES, UNITS, UnitInfo

if TYPE_CHECKING:
    import pint

MAX_TEXT = 60  # longer than any quantity a person types; keeps hostile text away from the unit parser

__all__ = [
    "UNITS",
    "UnitError",
    "UnitInfo",
    "format_quantity",
    "parse_decimal",
    "parse_for_field",
    "parse_quantity",
    "unit_for_field",
]


class UnitError(ValueError):
    """Text that is not the quantity asked for.

    ``value`` is what was given, ``expected`` what kind of quantity it should be, ``remedy`` a sentence that
    says what would be right.
    """

    def __init__(self, value: object, expected: str, remedy: str) -> None:
        self.value = value
        self.expected = expected
        self.remedy = remedy
        self.message = f"“{value}” is not {expected}."
        super().__init__(f"{self.message} {remedy}")


_VULGAR = re.compile("(?<=[0-9])(?=[¼½¾⅓⅔⅛⅜⅝⅞])")
_CHARACTERS = str.maketrans(
    {"−": "-", "µ": "μ", "\u2126": "Ω", "·": "*", "×": "*", "⋅": "*", "²": "2", "³": "3", "º": "°",
     "\u00a0": " ", "\u202f": " ", "\u2009": " ",
     "¼": "1/4", "½": "1/2", "¾": "3/4",
     "⅓": "1/3", "⅔": "2/3", "⅛": "1/8", "⅜": "3/8", "⅝": "5/8", "⅞": "7/8"}
)  # fmt: skip

_PLAIN = re.compile(r"[+-]?\d{1,15}(\.\d{1,17})?\Z", re.ASCII)
_DIGITS = r"(?:\d{1,20}(?:\.\d{0,20})?|\.\d{1,20})"
_NUMBER = re.compile(
    rf"(?P<sign>[+-]?)(?:(?:(?P<whole>\d{{1,9}})\s+)?(?P<top>\d{{1,9}})\s*/\s*(?P<bottom>\d{{1,9}})"
    rf"|(?P<number>{_DIGITS}(?:[eE][+-]?\d{{1,3}})?))(?![\d.,])",
    re.ASCII,
)
_UNIT_TEXT = re.compile(r"[A-Za-zμΩ°%'\"’′”″][A-Za-zμΩ°%'\"’′”″ .*/^23-]*\Z")
_COMPOUND = re.compile(
    r"(?P<first>[\d./ ]+\s*(?:ft|feet|foot|'|’|′|h|hrs?|hours?|mins?|minutes?|d|days?))"
    r"\s+(?P<second>\d[\d./ ]*\s*(?:in|inch|inches|\"|”|″|h|hrs?|hours?|mins?|minutes?|s|sec|seconds?))\Z"
    r"|(?P<feet>\d+\s*['’′])\s*(?P<inches>\d[\d./ ]*\s*[\"”″])\Z",
    re.IGNORECASE,
)

_registry: pint.UnitRegistry[Any] | None = None


def _pint_registry() -> pint.UnitRegistry[Any]:
    """The one registry, made at the first unit met: importing pint and building it takes half a second."""
    global _registry  # noqa: PLW0603
    if _registry is None:
        import pint  # noqa: PLC0415 - heavy, and a web process that only shows pages never needs it

        _registry = pint.UnitRegistry(non_int_type=Decimal)
    return _registry


def _info(unit: str) -> UnitInfo:
    try:
        return UNITS[unit]
    except KeyError:
        raise LookupError(f"Fields have no unit called {unit!r}; see shared.units.UNITS") from None


@lru_cache(maxsize=2048)
def _conversion(text: str, unit: str) -> tuple[Fraction, Fraction] | str:
    """Factor and offset from the unit as typed to the field's unit, or the reason why there is none."""
    if unit == "c":
        return TEMPERATURES.get(text.lower(), "not a temperature")
    if text.lower() in TEMPERATURES:
        return "a temperature"  # never coulomb or farad, whatever the unit library would make of it
    if text == "%":
        return (Fraction(1, 100), Fraction(0)) if unit == "frac" else "a percentage"
    if not _UNIT_TEXT.match(text):
        return "not a unit"
    registry = _pint_registry()
    name = ALIASES.get(text) or ALIASES.get(text.lower()) or text.replace("^", "**")
    name = re.sub(r"(?<=[A-Za-z])([23])(?![A-Za-z0-9])", r"**\1", name)
    target = _info(unit).pint_name
    # Pint's parser is a tokenizer and a small evaluator: besides its own errors it lets theirs through.
    try:
        source = registry.parse_units(name)
        if source.dimensionality != registry.parse_units(target).dimensionality:
            return "another kind of quantity"
        factor = registry.Quantity(Decimal(1), source).to(target).magnitude
    except Exception:  # noqa: BLE001 - any failure to read a unit has the same answer: not a unit we know
        return "not a unit"
    return Fraction(factor), Fraction(0)


def _refuse(value: object, unit: str, why: str = "") -> UnitError:
    info = _info(unit)
    examples = " or ".join(info.examples)
    plain = f"; a plain number means {info.symbol}" if info.symbol else ""
    reason = f"{why[0].upper()}{why[1:]}. " if why else ""
    return UnitError(value, info.kind, f"{reason}Write, for example, {examples}{plain}.")


def _point_for_comma(text: str, original: str, unit: str, *, decimal_comma: bool) -> str:
    """Text with decimal points only; a mark that could mean thousands is refused, never guessed."""
    if decimal_comma:
        if "," in text and "." in text:
            raise _refuse(original, unit, "this holds both a comma and a point")
        if re.search(r"(?<![\d.])[1-9]\d{0,2}(\.\d{3})+(?!\d)", text):
            raise _refuse(
                original, unit, "the sheet says decimal comma, so this point could be a thousands mark"
            )
        return text.replace(",", ".")
    if "," in text:
        raise _refuse(
            original,
            unit,
            "a comma could be a decimal or a thousands mark; use a point and no thousands marks",
        )
    return text


def _number_from(match: re.Match[str]) -> Fraction | None:
    if match["number"] is not None:
        value = Fraction(match["number"])
    elif int(match["bottom"]) == 0:
        return None
    else:
        value = Fraction(int(match["top"]), int(match["bottom"])) + int(match["whole"] or 0)
    return -value if match["sign"] == "-" else value


def _parse_one(text: str, original: str, unit: str) -> Fraction:
    match = _NUMBER.match(text)
    number = _number_from(match) if match else None
    if match is None or number is None:
        raise _refuse(original, unit)
    unit_text = " ".join(text[match.end() :].split())
    if not unit_text:
        return number
    conversion = _conversion(unit_text, unit)
    if isinstance(conversion, str):
        raise _refuse(original, unit, f"“{unit_text}” is {conversion} here")
    factor, offset = conversion
    return number * factor + offset


def parse_quantity(text: object, unit: str, *, decimal_comma: bool = False) -> float:
    """Read a quantity as a person types it and return it as a float in the unit of the field.

    Parameters:
        text: str, int, float or Decimal; a plain number is taken to be in ``unit``
        unit: str, a key of ``UNITS`` ("m", "mohm", "c", "frac", ...)
        decimal_comma: bool, whether the source writes 12,6 for twelve point six
    Returns:
        float [``unit``], always finite
    Errors:
        UnitError when the text is no number, holds an unknown unit or one of another kind, or is not finite;
        LookupError when ``unit`` is not in ``UNITS``
    Validity:
        any finite value; limits of the field are for its validators
    Source:
        exact conversion factors of the international foot, inch and pound: NIST SP 811 (2008), Appendix B

    >>> parse_quantity("3 ft", "m")
    0.9144
    >>> parse_quantity("0.015 ohm", "mohm")
    15.0
    >>> parse_quantity("1/4 in", "mm"), parse_quantity("77 °F", "c"), parse_quantity("80 %", "frac")
    (6.35, 25.0, 0.8)
    >>> parse_quantity("12,6", "v", decimal_comma=True)
    12.6
    >>> parse_quantity("20 A", "m")
    Traceback (most recent call last):
    shared.units.UnitError: “20 A” is not a length. “A” is another kind of quantity here. Write, ...
    """
    if isinstance(text, str):
        stripped = text.strip()
        if _PLAIN.match(stripped):
            _info(unit)
            return float(stripped)
        return _parse_text(stripped, unit, decimal_comma=decimal_comma)
    if isinstance(text, bool) or not isinstance(text, int | float | Decimal):
        raise _refuse(text, unit)
    _info(unit)
    return _finite(text, text, unit)


def _parse_text(text: str, unit: str, *, decimal_comma: bool) -> float:
    if not text or len(text) > MAX_TEXT:
        raise _refuse(text[:MAX_TEXT], unit)
    tidy = _VULGAR.sub(" ", text).translate(_CHARACTERS)
    tidy = _point_for_comma(tidy, text, unit, decimal_comma=decimal_comma)
    compound = _COMPOUND.match(tidy)
    if compound:
        parts = (compound["first"] or compound["feet"], compound["second"] or compound["inches"])
        return _finite(sum(_parse_one(part.strip(), text, unit) for part in parts), text, unit)
    return _finite(_parse_one(tidy, text, unit), text, unit)


def _finite(number: Fraction | Decimal | float, original: object, unit: str) -> float:
    try:
        value = float(number)
    except OverflowError:
        value = math.inf
    if not math.isfinite(value):
        raise _refuse(original, unit, "the number is not finite")
    return value


def parse_decimal(text: object, *, decimal_comma: bool = False) -> Decimal:
    """Read money or a stock count exactly, without passing through a float when it was typed.

    Parameters:
        text: str, int, float or Decimal
        decimal_comma: bool, whether the source writes 3,20 for three point two
    Returns:
        Decimal, always finite
    Errors:
        UnitError when the text is no plain number
    Validity:
        any finite number without a unit
    Source:
        not applicable

    >>> parse_decimal("3.20"), parse_decimal("3,20", decimal_comma=True), parse_decimal(0.1)
    (Decimal('3.20'), Decimal('3.20'), Decimal('0.1'))
    """
    if isinstance(text, Decimal) and text.is_finite():
        return text
    if isinstance(text, int | float) and not isinstance(text, bool) and math.isfinite(text):
        return Decimal(repr(text))
    if not isinstance(text, str) or not text.strip() or len(text) > MAX_TEXT:
        raise _refuse(text, "")
    tidy = _point_for_comma(
        text.strip().translate(_CHARACTERS), text.strip(), "", decimal_comma=decimal_comma
    )
    match = _NUMBER.fullmatch(tidy)
    if match is None or match["number"] is None:
        raise _refuse(text.strip(), "", "write the number alone, without a unit or currency")
    return Decimal(tidy)


@lru_cache(maxsize=1024)
def unit_for_field(name: str) -> str | None:
    """Return the unit that a field name carries as its suffix, or None when it carries none.

    Parameters:
        name: str, a field name such as ``length_m``
    Returns:
        str, a key of ``UNITS``, or None
    Errors:
        none
    Validity:
        names written by the house rule: the unit comes last
    Source:
        not applicable

    >>> unit_for_field("resistance_mohm"), unit_for_field("area_mm2"), unit_for_field("name")
    ('mohm', 'mm2', None)
    """
    head, _, suffix = name.rpartition("_")
    suffix = SUFFIX_ALIASES.get(suffix, suffix)
    return suffix if head and suffix and suffix in UNITS and not head.endswith("_per") else None


def parse_for_field(name: str, text: object, *, decimal_comma: bool = False) -> float:
    """Read a quantity for the field of that name.

    Parameters:
        name: str, a field name such as ``length_m``; without a unit suffix the text must be a plain number
        text: str, int, float or Decimal
        decimal_comma: bool, whether the source writes 12,6 for twelve point six
    Returns:
        float in the unit of the field
    Errors:
        UnitError as for ``parse_quantity``
    Validity:
        as for ``parse_quantity``
    Source:
        not applicable

    >>> parse_for_field("length_m", "10 ft"), parse_for_field("lead_time_days", "2 weeks")
    (3.048, 14.0)
    """
    return parse_quantity(text, unit_for_field(name) or "", decimal_comma=decimal_comma)


def format_quantity(value: float | None, unit: str, digits: int | None = 3) -> str:
    """Write a quantity for people: significant digits, no exponent, the unit's sign.

    Parameters:
        value: float [``unit``] or None
        unit: str, a key of ``UNITS``
        digits: int, significant digits; None writes the shortest text that reads back as the same float
    Returns:
        str; an en dash when there is no value
    Errors:
        LookupError when ``unit`` is not in ``UNITS``
    Validity:
        fractions are shown as a percentage, except with ``digits=None``
    Source:
        not applicable

    >>> format_quantity(15.04, "mohm"), format_quantity(1234.5, "a"), format_quantity(0.8, "frac", 2)
    ('15.0 mΩ', '1235 A', '80 %')
    >>> format_quantity(None, "v")
    '–'
    """
    symbol = _info(unit).symbol
    if value is None or not math.isfinite(value):
        return "–"
    if digits is None:
        return f"{_shortest(value)} {symbol}".rstrip()
    if unit == "frac":
        value, symbol = value * 100, "%"
    size = math.floor(math.log10(abs(value))) if value else 0
    rounded = Decimal(repr(value)).quantize(
        Decimal(1).scaleb(min(0, size - digits + 1)), rounding="ROUND_HALF_UP"
    )
    return f"{rounded:f} {symbol}".rstrip()


def _shortest(value: float) -> str:
    text = repr(value)
    return text.removesuffix(".0") if "e" not in text else text
