"""Which voltages a 12 V battery can show, and what a slip of a cold thumb meant: every way in asks here.

The limits are common practice, no source: six cells at rest lie between flat (below 2 V each, 11.8 V) and just off
the charger (2.5 V each, 15 V); a battery that reads under 6 V at rest has lost cells and is an incident, not a swap.
Under load the board of a stalled robot may fall far, so the lowest voltage has no lower limit but zero.
"""

from __future__ import annotations

from dataclasses import dataclass

from django.core.exceptions import ValidationError
from django.utils.deconstruct import deconstructible

#: What a slipped key or a missing point multiplies a voltage by: 128, 1281 and 12810 for 12.8 and 12.81.
SLIPS = (10.0, 100.0, 1000.0)
#: Below this a slip is not guessed at: 0.9 V is no likelier than 9 V.
LIKELY_V = 10.0


@dataclass(frozen=True)
class VoltRange:
    """The voltages one field may hold, in words of what is measured."""

    what: str
    low_v: float
    high_v: float

    def holds(self, value_v: float) -> bool:
        return self.low_v <= value_v <= self.high_v


REST = VoltRange("the rest voltage of a 12 V battery", 6.0, 15.0)
LOWEST = VoltRange("the lowest voltage of a 12 V battery under load", 0.0, 15.0)
RANGES = {"rest": REST, "lowest": LOWEST}


def slip_remedy(value_v: float, span: VoltRange) -> str:
    """What was probably meant, or the range.

    >>> slip_remedy(128.0, REST)
    'Was it 12.8 V?'
    >>> slip_remedy(40.0, REST)
    'A meter shows between 6 and 15 V'
    """
    for factor in SLIPS:
        meant = value_v / factor
        if LIKELY_V <= meant <= span.high_v:
            return f"Was it {meant:g} V?"
    return f"A meter shows between {span.low_v:g} and {span.high_v:g} V"


def refusal(value_v: float, span: VoltRange) -> str:
    """Why the voltage cannot be.

    >>> refusal(128.0, REST)
    '128 V cannot be the rest voltage of a 12 V battery'
    """
    return f"{value_v:g} V cannot be {span.what}"


@deconstructible
class VoltValidator:
    """The same for a field of a model, so that import, admin and corrections meet it too."""

    def __init__(self, span: str) -> None:
        self.span = span

    def __call__(self, value_v: float) -> None:
        span = RANGES[self.span]
        if not span.holds(value_v):
            remedy = slip_remedy(value_v, span)
            raise ValidationError(
                f"{refusal(value_v, span)}. {remedy.rstrip('.?')}{'?' if '?' in remedy else '.'}"
            )

    def __eq__(self, other: object) -> bool:
        return isinstance(other, VoltValidator) and other.span == self.span

    def __hash__(self) -> int:
        return hash(self.span)
