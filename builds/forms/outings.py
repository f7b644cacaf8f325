"""Forms about outings: which battery went out, and what the meter says when it is back."""

from __future__ import annotations

from typing import Any

from django import forms
from django.utils import timezone

from builds.models import Match, Robot
from builds.selectors.events import matches_to_pick
from inventory.forms.volts import VoltsField
from inventory.models import Battery, BatteryState
from inventory.volts import LOWEST
from shared.access import Scope
from shared.fields import QuantityField


class OutingEndForm(forms.Form):
    """What is known when it comes out; all of it may follow."""

    end_rest_v = VoltsField(
        required=False, label="Rest voltage (V)", help_text="Some minutes after it came out"
    )
    lowest_v = VoltsField(required=False, span=LOWEST, label="Lowest voltage (V)")
    used_ah = QuantityField(unit="ah", required=False, label="Charge used (Ah)")


class BatteryChoice(forms.ModelChoiceField):  # type: ignore[type-arg]  # generic in the stubs only
    """Batteries by code, with their state where it is not an everyday one."""

    def label_from_instance(self, obj: Battery) -> str:
        if obj.state == BatteryState.IN_SERVICE:
            return obj.code
        return f"{obj.code}, {obj.get_state_display().lower()}"


class MatchChoice(forms.ModelChoiceField):  # type: ignore[type-arg]  # generic in the stubs only
    """Matches as a pit knows them: number, robot, when."""

    def label_from_instance(self, obj: Match) -> str:
        return (
            f"{obj.number}, {obj.robot.name}, {timezone.localtime(obj.starts_at):%a %H:%M}, {obj.event.name}"
        )


class OutingForm(forms.Form):
    """Which battery went out: one choice is enough, the figures may follow."""

    battery = BatteryChoice(queryset=Battery.objects.none(), empty_label="Which one?")
    match = MatchChoice(queryset=Match.objects.none(), required=False, empty_label="Practice, no match")
    robot = forms.ModelChoiceField(
        queryset=Robot.objects.none(),
        required=False,
        empty_label="Not known",
        help_text="Only for practice; a match knows its robot",
    )
    start_rest_v = VoltsField(
        required=False, label="Rest voltage (V)", help_text="At rest, before it went out"
    )
    started_at = forms.DateTimeField(
        required=False,
        label="Went out at",
        help_text="Empty: just now",
        widget=forms.DateTimeInput({"type": "datetime-local", "step": 1}, format="%Y-%m-%dT%H:%M:%S"),
    )
    note = forms.CharField(max_length=200, required=False)
    although_out_of_service = forms.BooleanField(
        required=False,
        label="It has been out already, although it is not in service",
        help_text="Logs what should not have happened; leave this empty otherwise",
    )

    def __init__(self, data: Any = None, *, scope: Scope, **kwargs: Any) -> None:
        super().__init__(data, **kwargs)
        choices = {
            "battery": scope.rows(Battery)
            .filter(archived=False)
            .exclude(state=BatteryState.RETIRED)
            .order_by("code"),
            "match": matches_to_pick(scope),
            "robot": scope.rows(Robot).filter(archived=False),
        }
        for name, rows in choices.items():
            field = self.fields[name]
            assert isinstance(field, forms.ModelChoiceField)
            field.queryset = rows
