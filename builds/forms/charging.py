"""The form of a battery that goes on a charger."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from django import forms

from inventory.models import Charge
from inventory.selectors.batteries import chargers, open_charges
from shared.access import Scope


@dataclass(frozen=True)
class Place:
    """A charger as a button: free, or taken by a battery."""

    name: str
    taken: Charge | None


class ChargeStartForm(forms.Form):
    """On which charger: those of the team are buttons, a new one is typed. What the charge is for may stay open."""

    charger = forms.CharField(max_length=60, label="Another charger", help_text="As it is labelled")
    purpose = forms.ChoiceField(
        label="What for",
        required=False,
        choices=[("", "Found out from what it did"), *Charge.Purpose.choices],
        help_text="A storage top-up is no cycle",
    )

    def __init__(self, data: Any = None, *, scope: Scope) -> None:
        super().__init__(data)
        on = {charge.charger_id: charge for charge in open_charges(scope)}
        self.places = [Place(row.name, on.get(row.pk)) for row in chargers(scope)]
