"""A voltage as a cold thumb types it: comma or point, and 128 for 12.8 is asked about."""

from __future__ import annotations

from typing import Any

from django.core.exceptions import ValidationError

from inventory.services.volts import REST, VoltRange, checked_volts
from shared.errors import DomainError
from shared.fields import QuantityField

#: What a phone's keypad can type before it is sent: two figures, point or comma, up to three more.
PATTERN = r"\s*\d{1,2}([.,]\d{1,3})?\s*[vV]?\s*"


class VoltsField(QuantityField):
    """Volts of a 12 V battery. A keypad gives comma or point by the phone's language; both are a decimal mark."""

    def __init__(self, *, span: VoltRange = REST, **kwargs: Any) -> None:
        self.span = span
        super().__init__(unit="v", **kwargs)

    def widget_attrs(self, widget: Any) -> dict[str, Any]:
        words = f"Volts between {self.span.low_v:g} and {self.span.high_v:g}, such as 12.81"
        return super().widget_attrs(widget) | {"pattern": PATTERN, "title": words, "enterkeyhint": "next"}

    def to_python(self, value: Any) -> Any:
        # Nobody writes the volts of a battery with a thousands mark, so a comma can only be a decimal one.
        text = value.replace(",", ".") if isinstance(value, str) and value.count(",") == 1 else value
        volts = super().to_python(text)
        try:
            return checked_volts(volts, self.span, field="volts")
        except DomainError as refused:
            raise ValidationError(refused.sentence, code="range") from refused
