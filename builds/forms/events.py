"""Forms about events: who and what goes, and how batteries are handled there."""

from __future__ import annotations

from typing import Any

from django import forms

from builds.models import Event, Handling
from builds.services.events import HANDLING_FIELDS
from shared.fields import TeamModelForm, quantity_form

HANDLING_WORDS = {
    "ready_before_min": "In the robot before a match (min)",
    "back_after_min": "Back on the cart after a match began (min)",
    "cool_min": "Cools before a charge (min)",
    "absorption_min": "Absorption, if the charger does not say (min)",
    "rest_min": "Rests after a charge (min)",
    "least_charge_frac": "Least state of charge",
}
#: What is ticked: what goes to the event.
GOING = ("robots", "batteries", "chargers")
EVENT_FIELDS = (
    "name",
    "season",
    "place",
    "starts_on",
    "ends_on",
    "goods_by",
    "matches_planned",
    *GOING,
)


class EventFormBase(TeamModelForm):
    """An event with what goes there, ticked one by one."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for name in GOING:
            rows = self.fields[name]
            assert isinstance(rows, forms.ModelMultipleChoiceField)
            rows.widget = forms.CheckboxSelectMultiple()
            rows.widget.choices = rows.choices
            rows.required = False


EventForm = quantity_form(Event, EVENT_FIELDS, base=EventFormBase)


class HandlingFormBase(TeamModelForm):
    """The way of a battery round the pit, step by step, in the words of the pit."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for name, words in HANDLING_WORDS.items():
            self.fields[name].label = words


HandlingForm = quantity_form(Handling, HANDLING_FIELDS, base=HandlingFormBase)
