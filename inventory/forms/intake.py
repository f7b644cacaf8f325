"""The form of a battery that joins the team: itself, the meters' first word, its first charger."""

from __future__ import annotations

from typing import Any

from django import forms
from django.utils import timezone

from inventory.forms.meters import meter_given, offer_meters
from inventory.forms.volts import VoltsField
from inventory.models import Battery, Method
from inventory.selectors.batteries import chargers, instruments_used, open_charges
from inventory.services.intake import FirstReading
from shared.access import Scope
from shared.fields import QuantityField, TeamModelForm, quantity_form

#: Asked at once; the rest of the battery is seldom known on the first day.
FIRST_FIELDS = ("code", "model", "acquired_on")
BATTERY_FIELDS = ("code", "model", "serial", "acquired_on", "in_service_on", "cycles_at_intake", "notes")
METER_FIELDS = (
    "rest_v", "rest_h", "resistance_mohm", "instrument", "instrument_new", "method", "temperature_c",
)  # fmt: skip
CHARGE_FIELDS = ("charger", "charger_new")


class IntakeFormBase(TeamModelForm):
    """Battery first; what was not measured or charged yet stays empty and follows from the battery's page."""

    rest_v = VoltsField(label="Rest voltage (V)", required=False)
    rest_h = QuantityField(unit="h", label="Rested for (h)", required=False)
    resistance_mohm = QuantityField(unit="mohm", label="Resistance (mΩ)", required=False)
    instrument = forms.ChoiceField(label="Meter", required=False, widget=forms.RadioSelect)
    instrument_new = forms.CharField(label="Another meter", max_length=60, required=False)
    method = forms.ChoiceField(
        label="Method", choices=Method.choices, required=False, widget=forms.RadioSelect
    )
    temperature_c = QuantityField(unit="c", label="Battery temperature (°C)", required=False)
    charger = forms.ChoiceField(label="On charger", required=False, widget=forms.RadioSelect)
    charger_new = forms.CharField(label="Another charger", max_length=60, required=False)

    def offer(self, scope: Scope, data: Any) -> None:
        """Meters and chargers of the team; a charger that has a battery on it is not offered."""
        offer_meters(self, data, instruments_used(scope), required=False)
        taken = {charge.charger_id for charge in open_charges(scope)}
        free = [(row.name, row.name) for row in chargers(scope) if row.pk not in taken]
        field = self.fields["charger"]
        assert isinstance(field, forms.ChoiceField)
        field.choices = [("", "Not yet"), *free]
        self.fields["charger"].initial = ""
        if self.instance.pk is None:
            self.initial["acquired_on"] = timezone.localdate()
        self._explain()

    def _explain(self) -> None:
        helps = {
            "rest_v": "Before it is charged. New and rested it reads 12.6 V or more",
            "rest_h": "Hours since it was charged or driven here; 6 or more count",
            "resistance_mohm": "As the meter shows it. 0.015 ohm is 15 mΩ",
            "charger_new": "As it is labelled",
            "in_service_on": "Empty: not used yet",
        }
        for name, words in helps.items():
            self.fields[name].help_text = words
        self.fields["notes"].widget.attrs["rows"] = 3
        self.fields["code"].widget.attrs |= {"autofocus": True, "autocapitalize": "characters"}
        for name in ("rest_v", "resistance_mohm"):
            self.fields[name].widget.attrs["inputmode"] = "decimal"

    def clean(self) -> dict[str, Any]:
        given = super().clean() or self.cleaned_data
        given["instrument"] = meter_given(given)
        given["charger"] = given.pop("charger_new", "").strip() or given.get("charger", "")
        return given

    def first_reading(self) -> FirstReading:
        given = self.cleaned_data
        return FirstReading(
            resistance_mohm=given["resistance_mohm"],
            method=given["method"],
            instrument=given["instrument"],
            rest_v=given["rest_v"],
            rest_h=given["rest_h"],
            temperature_c=given["temperature_c"],
        )

    def _get_validation_exclusions(self) -> set[str]:
        """Whether the code is taken is left to the service, which knows the same battery sent twice."""
        return super()._get_validation_exclusions() | {"team"}

    def part(self, names: tuple[str, ...]) -> list[forms.BoundField]:
        return [self[name] for name in names if name in self.fields]

    @property
    def itself(self) -> list[forms.BoundField]:
        return self.part(FIRST_FIELDS)

    @property
    def further(self) -> list[forms.BoundField]:
        return self.part(tuple(name for name in BATTERY_FIELDS if name not in FIRST_FIELDS))

    @property
    def measured(self) -> list[forms.BoundField]:
        return self.part(METER_FIELDS)

    @property
    def charged(self) -> list[forms.BoundField]:
        return self.part(CHARGE_FIELDS)


_IntakeForm = quantity_form(Battery, BATTERY_FIELDS, base=IntakeFormBase)


def intake_form(scope: Scope, data: Any = None) -> IntakeFormBase:
    """The form for a new battery of the team."""
    form = _IntakeForm(data=data, instance=Battery(team=scope.team), team=scope.team)
    assert isinstance(form, IntakeFormBase)
    form.offer(scope, data)
    return form
