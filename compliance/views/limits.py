"""Limits of rules as a page prints them."""

from __future__ import annotations

from compliance.rules.base import LimitValue
from shared.web.figures import UNITS


def limit_text(value: LimitValue, unit: str) -> str:
    """The value with its unit: fractions as per cent, names of tables as they are.

    >>> limit_text(0.03, "frac"), limit_text(200, "mohm"), limit_text("33cfr183", "")
    ('3 %', '200 mΩ', '33cfr183')
    """
    if isinstance(value, str):
        return value
    known = UNITS.get(unit)
    if known is None:
        return f"{value:g} {unit}".strip()
    return f"{value * known.factor:g} {known.sign}".strip()
