"""Forms of what happened to a battery, of what was found, and of its end."""

from __future__ import annotations

from typing import Any

from django import forms

from inventory.models import BatteryIncident
from shared.fields import QuantityField

MOMENT = forms.DateTimeInput({"type": "datetime-local"}, format="%Y-%m-%dT%H:%M")


class IncidentForm(forms.Form):
    """What happened: one tap, the rest may stay empty."""

    kind = forms.ChoiceField(
        label="What happened", choices=BatteryIncident.Kind.choices, widget=forms.RadioSelect
    )
    note = forms.CharField(label="What was seen", max_length=200, required=False)
    temperature_c = QuantityField(unit="c", label="Case temperature (°C)", required=False)
    happened_at = forms.DateTimeField(
        label="When", required=False, widget=MOMENT, help_text="Empty: just now"
    )

    def __init__(self, data: Any = None) -> None:
        super().__init__(data)
        self.fields["temperature_c"].help_text = "Only if it was measured without touching it"


class IncidentCloseForm(forms.Form):
    """What a qualified adult found, and whether it may go out again."""

    finding = forms.CharField(
        label="What was found",
        max_length=200,
        widget=forms.Textarea({"rows": 3}),
        help_text="For example: case whole, posts tight, 14.1 mΩ and 12.82 V as before",
    )
    back_in_service = forms.BooleanField(label="Back into service", required=False)


class RetireForm(forms.Form):
    """Why a battery ends, in a word that can be counted, and the figure behind it."""

    WHY = (
        ("Capacity", "Too little capacity"),
        ("Resistance", "Resistance too high"),
        ("Damage", "Damaged: swollen, cracked, leaking, dropped"),
        ("Age", "Too old, or too many cycles"),
        ("Given away", "Sold or given away"),
        ("Other", "Something else"),
    )

    why = forms.ChoiceField(label="Why", choices=WHY, widget=forms.RadioSelect)
    detail = forms.CharField(
        label="The figure or sign behind it",
        max_length=160,
        required=False,
        help_text="For example: 13.1 of 18 Ah",
    )

    def clean(self) -> dict[str, Any]:
        given = super().clean() or {}
        if given.get("why") == "Other" and not given.get("detail", "").strip():
            self.add_error("detail", "Say why: a few words are enough.")
        return given

    @property
    def reason(self) -> str:
        detail = self.cleaned_data["detail"].strip()
        return f"{self.cleaned_data['why']}: {detail}" if detail else str(self.cleaned_data["why"])
