"""What may be written as a quantity of a part."""

from __future__ import annotations

from datetime import datetime, timedelta
from decimal import ROUND_HALF_EVEN, Decimal

from django.utils import timezone

from inventory.models import Part, Unit
from shared.errors import DomainError

#: The ledger keeps thousandths: a millimetre of wire.
STEP = Decimal("0.001")
LARGEST = Decimal(999_999)

#: Clocks of a phone and a server may differ by this much.
CLOCK_SLACK = timedelta(minutes=10)


def checked_quantity(part: Part, quantity: Decimal | int, *, zero: bool = False) -> Decimal:
    """The quantity as the ledger keeps it, or a sentence that says what would be right."""
    amount = Decimal(quantity)
    if not amount.is_finite() or abs(amount) > LARGEST:
        raise DomainError(
            f"{quantity} is not a quantity", field="quantity", value=quantity, remedy=f"At most {LARGEST}"
        )
    amount = amount.quantize(STEP, rounding=ROUND_HALF_EVEN)
    if amount < 0 or (amount == 0 and not zero):
        least = "0 or more" if zero else "more than 0"
        raise DomainError(
            f"A quantity of {quantity} cannot be entered",
            field="quantity",
            value=quantity,
            remedy=f"Give {least}; the kind of the movement says whether it goes in or out",
        )
    if part.unit == Unit.EACH and amount != amount.to_integral_value():
        raise DomainError(
            f"{part.code} is counted each, and {quantity} is not a whole number",
            field="quantity",
            value=quantity,
            remedy="Give a whole number",
        )
    return amount


def checked_moment(at: datetime) -> datetime:
    """A moment that is not in the future."""
    if at > timezone.now() + CLOCK_SLACK:
        raise DomainError(
            f"{at:%Y-%m-%d %H:%M} lies in the future",
            field="at",
            value=at,
            remedy="Give the time it happened",
        )
    return at


def shown(part: Part, amount: Decimal) -> str:
    """The quantity as a person reads it: 3, or 12.5 m.

    >>> shown(Part(unit="m"), Decimal("12.500")), shown(Part(unit="each"), Decimal("30.000"))
    ('12.5 m', '30')
    """
    text = f"{amount:f}".rstrip("0").rstrip(".") if "." in f"{amount:f}" else f"{amount:f}"
    return f"{text or '0'} m" if part.unit == Unit.METRE else (text or "0")
