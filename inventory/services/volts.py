"""A voltage given to a service: taken, or refused in a sentence that says what was probably meant."""

from __future__ import annotations

from inventory.volts import LOWEST, REST, VoltRange, refusal, slip_remedy
from shared.errors import DomainError

__all__ = ["LOWEST", "REST", "VoltRange", "checked_volts"]


def checked_volts(value_v: float | None, span: VoltRange, *, field: str) -> float | None:
    """The voltage, or a sentence that says what was probably meant; None stays None."""
    if value_v is None or span.holds(value_v):
        return value_v
    raise DomainError(refusal(value_v, span), field=field, value=value_v, remedy=slip_remedy(value_v, span))
