"""The key of a study: a hash of everything that enters the computation and of nothing else.

Figures are taken to ten digits, so that two machines whose last bits differ agree on the key.
"""

from __future__ import annotations

import hashlib
import math
from collections.abc import Iterator, Mapping
from dataclasses import fields, is_dataclass
from enum import Enum
from typing import Any

import numpy as np

__all__ = ["content_key"]


def content_key(*parts: object) -> str:
    """SHA-256 of numbers, texts, arrays, tuples and dataclasses, names of fields included.

    >>> content_key(1.0, "MAIN") == content_key(1.0 + 1e-13, "MAIN"), content_key(1.0) == content_key(1.001)
    (True, False)
    """
    digest = hashlib.sha256()
    for token in _tokens(parts):
        digest.update(token.encode())
        digest.update(b"\x1f")
    return digest.hexdigest()


def _tokens(value: Any) -> Iterator[str]:
    if is_dataclass(value) and not isinstance(value, type):
        yield type(value).__name__
        for field in fields(value):
            yield field.name
            yield from _tokens(getattr(value, field.name))
    elif isinstance(value, Mapping):
        yield "{"
        for name in sorted(value):
            yield str(name)
            yield from _tokens(value[name])
        yield "}"
    elif isinstance(value, np.ndarray):
        yield f"array{value.shape}"
        for item in value.ravel().tolist():
            yield _number(item)
    elif isinstance(value, tuple | list):
        yield f"[{len(value)}"
        for item in value:
            yield from _tokens(item)
    else:
        yield _one(value)


def _one(value: Any) -> str:
    if value is None or isinstance(value, str):
        return repr(value)
    if isinstance(value, Enum):
        return str(value.value)
    if isinstance(value, bool | int | float | np.number | np.bool_):
        return _number(value)
    if isinstance(value, slice):
        return f"{value.start}:{value.stop}"
    raise TypeError(f"A study's content holds numbers, texts and arrays of them, no {type(value).__name__}.")


def _number(value: Any) -> str:
    number = float(value)
    return "nan" if math.isnan(number) else f"{number + 0.0:.10g}"
