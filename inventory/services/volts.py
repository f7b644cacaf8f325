"""Is this a voltage that a 12 V battery can show? Slips of a cold thumb are caught before they become evidence.

The limits are common practice, no source: six cells at rest lie between flat (below 2 V each, 11.8 V) and just off
the charger (2.5 V each, 15 V); a battery that reads under 6 V at rest has lost cells and is an incident, not a swap.
Under load the board of a stalled robot may fall far, so the lowest voltage has no lower limit but zero.
"""

from __future__ import annotations

from dataclasses import dataclass

from shared.errors import DomainError

#: What a slipped key or a missing point multiplies a voltage by: 128, 1281 and 12810 for 12.8 and 12.81.
SLIPS = (10.0, 100.0, 1000.0)


@dataclass(frozen=True)
class VoltRange:
    """The voltages one field may hold, in words of what is measured."""

    what: str
    low_v: float
    high_v: float


REST = VoltRange("the rest voltage of a 12 V battery", 6.0, 15.0)
LOWEST = VoltRange("the lowest voltage of a 12 V battery under load", 0.0, 15.0)
#: Below this a slip is not guessed at: 0.9 V is no likelier than 9 V.
LIKELY_V = 10.0


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


def checked_volts(value_v: float | None, span: VoltRange, *, field: str) -> float | None:
    """The voltage, or a sentence that says what was probably meant; None stays None."""
    if value_v is None or span.low_v <= value_v <= span.high_v:
        return value_v
    raise DomainError(
        f"{value_v:g} V cannot be {span.what}",
        field=field,
        value=value_v,
        remedy=slip_remedy(value_v, span),
    )
