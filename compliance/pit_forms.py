"""Forms of the pit: few fields, big keys, each refused in words that say what to do."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

from django import forms
from django.utils import timezone

from builds.models import Event, Match, Outing, Robot
from inventory.forms.volts import VoltsField
from inventory.models import BatteryIncident
from inventory.services.volts import LOWEST
from shared.access import Scope

#: How far a match is moved by one tap, in minutes.
MOVES_MIN = (-20, -10, -5, 5, 10, 20)
MOST_MOVE_MIN = 24 * 60


class SwapForm(forms.Form):
    """What goes in with its voltage; what comes out with its."""

    code = forms.CharField(max_length=80, label="Battery that goes in")
    match = forms.ModelChoiceField(queryset=Match.objects.none(), required=False, widget=forms.HiddenInput)
    robot = forms.ModelChoiceField(queryset=Robot.objects.none(), required=False, widget=forms.HiddenInput)
    start_rest_v = VoltsField(required=False, label="Goes in at")
    out_end_rest_v = VoltsField(required=False, label="Came out at")
    out_lowest_v = VoltsField(required=False, span=LOWEST, label="Lowest in the match")
    although_unfit = forms.BooleanField(required=False, label="It went in anyway")

    def __init__(self, data: Any = None, *, scope: Scope, event: Event, **kwargs: Any) -> None:
        super().__init__(data, **kwargs)
        _choices(self, "match", scope.rows(Match).filter(event=event).select_related("robot"))
        _choices(self, "robot", scope.rows(Robot).filter(events=event))


class OutForm(forms.Form):
    """A battery that came out, or what its meter read later."""

    outing = forms.ModelChoiceField(queryset=Outing.objects.none(), widget=forms.HiddenInput)
    end_rest_v = VoltsField(required=False, label="Rest voltage")
    lowest_v = VoltsField(required=False, span=LOWEST, label="Lowest in the match")

    def __init__(self, data: Any = None, *, scope: Scope, event: Event, **kwargs: Any) -> None:
        super().__init__(data, **kwargs)
        here = scope.rows(Outing).filter(match__event=event) | scope.rows(Outing).filter(robot__events=event)
        _choices(self, "outing", here.select_related("battery", "robot", "match").distinct())


class MatchForm(forms.Form):
    """One match of the event that is to be played."""

    match = forms.ModelChoiceField(queryset=Match.objects.none())

    def __init__(self, data: Any = None, *, scope: Scope, event: Event, **kwargs: Any) -> None:
        super().__init__(data, **kwargs)
        rows = scope.rows(Match).filter(event=event, called_off=False)
        _choices(self, "match", rows.select_related("robot", "event").order_by("starts_at"))


class CarrierForm(MatchForm):
    carrier = forms.CharField(max_length=60, label="Who carries it")


class PullForm(forms.Form):
    """A battery leaves the rotation: which one, and why."""

    code = forms.CharField(max_length=80, label="Battery")
    kind = forms.ChoiceField(choices=BatteryIncident.Kind.choices)
    note = forms.CharField(max_length=200, required=False, label="What happened")


class MoveForm(MatchForm):
    """A match, or it and all later ones of that day, moved by minutes."""

    minutes = forms.IntegerField(min_value=-MOST_MOVE_MIN, max_value=MOST_MOVE_MIN)
    later = forms.BooleanField(required=False, label="And all later matches of the day")
    seen = forms.DateTimeField(required=False, widget=forms.HiddenInput)


class AddForm(forms.Form):
    """A match that was not on the schedule."""

    number = forms.CharField(max_length=20, label="Match")
    robot = forms.ModelChoiceField(queryset=Robot.objects.none(), empty_label=None)
    starts_at = forms.DateTimeField(
        label="Starts at", widget=forms.DateTimeInput({"type": "datetime-local"}, format="%Y-%m-%dT%H:%M")
    )
    importance = forms.ChoiceField(choices=Match.Importance.choices, initial=Match.Importance.KNOCKOUT)

    def __init__(self, data: Any = None, *, scope: Scope, event: Event, **kwargs: Any) -> None:
        soon = timezone.localtime() + timedelta(minutes=30)
        kwargs.setdefault("initial", {"starts_at": soon, "importance": Match.Importance.KNOCKOUT})
        super().__init__(data, auto_id="add-%s", **kwargs)
        _choices(self, "robot", scope.rows(Robot).filter(events=event))


def _choices(form: forms.Form, name: str, rows: Any) -> None:
    field = form.fields[name]
    assert isinstance(field, forms.ModelChoiceField)
    field.queryset = rows
