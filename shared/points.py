"""Curves as people type them: pairs split by semicolons, “1.0:12.85; 0.5:12.30”."""

from __future__ import annotations

import re
from collections.abc import Iterable

from shared.units import UnitError, parse_quantity

Points = tuple[tuple[float, float], ...]
EXPECTED = "a list of pairs"
REMEDY = "Write pairs split by semicolons, such as 1.0:12.85; 0.5:12.30."


def parse_points(text: str, *, decimal_comma: bool = False) -> Points:
    """Read a curve; raises ``UnitError`` naming the pair that cannot be read.

    >>> parse_points("1.0:12.85; 0.5:12.3")
    ((1.0, 12.85), (0.5, 12.3))
    """
    points = []
    for pair in re.split(r"[;\n]", text):
        if not pair.strip():
            continue
        parts = pair.split(":")
        if len(parts) != 2:
            raise UnitError(pair.strip(), EXPECTED, REMEDY)
        try:
            x, y = (parse_quantity(part, "", decimal_comma=decimal_comma) for part in parts)
        except UnitError as error:
            raise UnitError(error.value, error.expected, REMEDY) from None
        points.append((x, y))
    return tuple(points)


def format_points(points: Iterable[Iterable[float]]) -> str:
    """Write a curve so that ``parse_points`` reads the same numbers back.

    >>> format_points([[1.0, 12.85], [0, 11.8]])
    '1:12.85; 0:11.8'
    """
    return "; ".join(":".join(_number(float(number)) for number in pair) for pair in points)


def _number(value: float) -> str:
    return repr(int(value)) if value.is_integer() and abs(value) < 1e15 else repr(value)
