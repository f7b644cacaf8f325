"""Which meter and how: asked wherever a resistance is entered, the meters of the team as one tap each."""

from __future__ import annotations

from typing import Any

from django import forms

#: Meters and chargers offered as one tap; anything else is typed.
MOST_BUTTONS = 6

WHICH_METER = "Say which meter: readings of two meters cannot be compared."


def offer_meters(form: forms.BaseForm, data: Any, meters: list[str], *, required: bool = True) -> None:
    """Fill the fields ``instrument`` (one tap) and ``instrument_new`` (typed) with what the team has."""
    choices = [(name, name) for name in meters[:MOST_BUTTONS]]
    typed = form.fields["instrument_new"]
    if not choices:
        del form.fields["instrument"]
        typed.label, typed.required = "Meter", required
        typed.error_messages["required"] = WHICH_METER
        return
    field = form.fields["instrument"]
    assert isinstance(field, forms.ChoiceField)
    field.choices = choices
    field.required = required and not (data and data.get("instrument_new", "").strip())
    field.error_messages["required"] = WHICH_METER


def meter_given(given: dict[str, Any]) -> str:
    """The meter of cleaned data: typed before tapped."""
    typed: str = given.pop("instrument_new", "").strip()
    return typed or given.get("instrument", "") or ""
