"""Workings as JSON can hold them in every database: no numpy scalars, dates, decimals, infinities."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from datetime import date
from decimal import Decimal
from typing import Any

_PLAIN = frozenset({str, bool, int})


def plain(value: Any) -> Any:
    """A value as JSON gives it back."""
    kind = type(value)
    if value is None or kind in _PLAIN or (kind is float and math.isfinite(value)):
        return value
    if kind is dict or isinstance(value, Mapping):
        return {str(k): plain(v) for k, v in value.items()}
    if isinstance(value, list | tuple):
        return [plain(v) for v in value]
    if isinstance(value, str):
        return str(value)
    if isinstance(value, date):
        return value.isoformat()
    if hasattr(value, "item"):  # a numpy scalar
        value = value.item()
    if isinstance(value, bool | int):
        return value
    if isinstance(value, float | Decimal):
        number = float(value)
        return number if math.isfinite(number) else str(number)
    return str(value)


_ENCODER = json.JSONEncoder(default=plain, allow_nan=False)


def as_json(value: Any) -> str:
    """The JSON of the plain value. Few workings hold an infinity, so looking for one is left to the encoder."""
    try:
        return _ENCODER.encode(value)
    except (TypeError, ValueError):
        return json.dumps(plain(value))
