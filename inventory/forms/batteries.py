"""Forms of what is entered about a battery, short enough for cold hands in the pit."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

from django import forms
from django.utils import timezone

from inventory.forms.meters import meter_given, offer_meters
from inventory.models import Battery, BatteryState, Method, Reading
from inventory.selectors.batteries import instruments_used
from shared.access import Can, Scope
from shared.fields import QuantityField

#: The temperature of a reading this recent is offered again: same bench, same weather.
SAME_BENCH = timedelta(hours=12)


class ReadingForm(forms.Form):
    """One resistance reading; meter, method and temperature are remembered from the last one."""

    resistance_mohm = QuantityField(unit="mohm", label="Resistance (mΩ)")
    rest_v = QuantityField(unit="v", label="Rest voltage (V)", required=False)
    instrument = forms.ChoiceField(label="Meter", widget=forms.RadioSelect)
    instrument_new = forms.CharField(label="Another meter", max_length=60, required=False)
    method = forms.ChoiceField(label="Method", choices=Method.choices, widget=forms.RadioSelect)
    temperature_c = QuantityField(unit="c", label="Battery temperature (°C)", required=False)
    rest_h = QuantityField(unit="h", label="Rested for (h)", required=False)
    charge_frac = QuantityField(unit="frac", label="State of charge", required=False)
    note = forms.CharField(label="Note", max_length=200, required=False)

    def __init__(self, data: Any = None, *, scope: Scope, battery: Battery) -> None:
        last = last_reading(scope, battery)
        super().__init__(data, initial=remembered(last))
        meters = instruments_used(scope)
        if last and last.instrument in meters:
            meters.remove(last.instrument)
            meters.insert(0, last.instrument)
        offer_meters(self, data, meters)
        self._explain()

    def _explain(self) -> None:
        pad, volts = self.fields["resistance_mohm"], self.fields["rest_v"]
        pad.widget.attrs |= {"data-keypad": "", "autofocus": True, "inputmode": "decimal"}
        pad.help_text = "As the meter shows it. 0.015 ohm is 15 mΩ."
        volts.widget.attrs |= {"data-stepper": "0.01", "inputmode": "decimal"}
        volts.help_text = (
            "Before the test; without it or the state of charge the reading cannot join the trend."
        )
        self.fields["charge_frac"].help_text = "If the meter gives one: 0.95 or 95 %"

    @property
    def first(self) -> list[forms.BoundField]:
        """What is asked every time, in the order of the work."""
        names = ("resistance_mohm", "rest_v", "instrument", "method", "temperature_c")
        if "instrument" not in self.fields:
            names = ("resistance_mohm", "rest_v", "instrument_new", "method", "temperature_c")
        return [self[name] for name in names]

    @property
    def further(self) -> list[forms.BoundField]:
        """What is seldom known or seldom changes."""
        asked = {field.name for field in self.first}
        return [self[name] for name in self.fields if name not in asked]

    def clean(self) -> dict[str, Any]:
        given = super().clean() or {}
        given["instrument"] = meter_given(given)
        return given


def last_reading(scope: Scope, battery: Battery) -> Reading | None:
    """The person's own last reading, else the battery's."""
    rows = scope.rows(Reading).order_by("-taken_at")
    mine = rows.filter(by=scope.user).first() if scope.user else None
    return mine or rows.filter(battery=battery).first()


def remembered(last: Reading | None) -> dict[str, Any]:
    if last is None:
        return {}
    kept: dict[str, Any] = {"instrument": last.instrument, "method": last.method}
    if timezone.now() - last.taken_at <= SAME_BENCH:
        kept["temperature_c"] = last.temperature_c
    return kept


class ChargeEndForm(forms.Form):
    returned_ah = QuantityField(unit="ah", label="Charge returned (Ah)", required=False)

    def __init__(self, data: Any = None) -> None:
        super().__init__(data)
        self.fields["returned_ah"].help_text = "If the charger shows it"

    def clean_returned_ah(self) -> float | None:
        given: float | None = self.cleaned_data["returned_ah"]
        if given is not None and given < 0:
            raise forms.ValidationError("Charge returned cannot be negative. Leave it empty if not shown.")
        return given


class BatteryStateForm(forms.Form):
    """May it go out, and if not, why. Returning it to service is for the logistics lead or a mentor.

    Retirement has a page of its own, which says where the battery goes.
    """

    state = forms.ChoiceField(choices=BatteryState.choices, widget=forms.RadioSelect)
    reason = forms.CharField(
        max_length=200, required=False, help_text="For example: swollen case, reads 38 mΩ"
    )

    def __init__(self, data: Any = None, *, scope: Scope, battery: Battery) -> None:
        super().__init__(data, initial={"state": battery.state, "reason": battery.state_reason})
        field = self.fields["state"]
        assert isinstance(field, forms.ChoiceField)
        kept = {BatteryState.RETIRED} - {battery.state}
        if not scope.can(Can.SUPPLY) and battery.state != BatteryState.IN_SERVICE:
            kept.add(BatteryState.IN_SERVICE)
            field.help_text = "A logistics lead or mentor returns it to service."
        field.choices = [c for c in BatteryState.choices if c[0] not in kept]


class CapacityForm(forms.Form):
    """A discharge test; current and end voltage start at the rate the model is rated at."""

    capacity_ah = QuantityField(unit="ah", label="Taken out (Ah)")
    current_a = QuantityField(unit="a", label="Discharge current (A)")
    end_v = QuantityField(unit="v", label="Stopped at (V)")
    temperature_c = QuantityField(unit="c", label="Battery temperature (°C)", required=False)
    note = forms.CharField(label="Note", max_length=200, required=False)

    def __init__(self, data: Any = None, *, battery: Battery) -> None:
        model = battery.model
        rated_a = round(model.capacity_ah / model.capacity_hours_h, 3)
        super().__init__(data, initial={"current_a": rated_a, "end_v": model.end_v})
        rate = f"{model.capacity_ah:g} Ah is the {model.capacity_hours_h:g}-hour capacity"
        self.fields["current_a"].help_text = f"{rate}: {rated_a:g} A is its rate"
