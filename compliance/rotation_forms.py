"""Forms of the rotation page: what goes to the event, who plays, which battery comes back."""

from __future__ import annotations

from typing import Any

from django import forms

from builds.models import Event, Match
from inventory.models import Battery, BatteryState, Charger
from shared.access import Scope
from shared.errors import DomainError


class BatteryTick(forms.ModelMultipleChoiceField):  # type: ignore[type-arg]  # generic in the stubs only
    """Batteries by code, with their state where it is not an everyday one."""

    def label_from_instance(self, obj: Battery) -> str:
        return (
            obj.code
            if obj.state == BatteryState.IN_SERVICE
            else f"{obj.code}, {obj.get_state_display().lower()}"
        )


class ChargerTick(forms.ModelMultipleChoiceField):  # type: ignore[type-arg]  # generic in the stubs only
    """Chargers by name, with their current."""

    def label_from_instance(self, obj: Charger) -> str:
        return f"{obj.name}, {obj.current_a:g} A" if obj.current_a else f"{obj.name}, current not entered"


class CartForm(forms.Form):
    """Which batteries and chargers go. All ticked is the same as none chosen: later ones join by themselves."""

    batteries = BatteryTick(
        queryset=Battery.objects.none(), required=False, widget=forms.CheckboxSelectMultiple
    )
    chargers = ChargerTick(
        queryset=Charger.objects.none(), required=False, widget=forms.CheckboxSelectMultiple
    )

    def __init__(self, data: Any = None, *, scope: Scope, event: Event) -> None:
        self.offered = {
            "batteries": scope.rows(Battery)
            .filter(archived=False)
            .exclude(state=BatteryState.RETIRED)
            .order_by("code"),
            "chargers": scope.rows(Charger).filter(archived=False).order_by("name"),
        }
        initial = {
            name: list(getattr(event, name).all()) or list(rows) for name, rows in self.offered.items()
        }
        super().__init__(data, initial=initial)
        for name, rows in self.offered.items():
            field = self.fields[name]
            assert isinstance(field, forms.ModelMultipleChoiceField)
            field.queryset = rows
            field.help_text = "All ticked: one that is added later goes too."

    def chosen(self) -> dict[str, list[Any]]:
        """What to save: nothing named where everything is ticked. Raises ``DomainError`` where nothing is."""
        found = {}
        for name, rows in self.offered.items():
            ticked, offered = list(self.cleaned_data[name]), list(rows)
            if offered and not ticked:
                raise DomainError(
                    f"No {name[:-1] if name == 'chargers' else 'battery'} is ticked",
                    field=name,
                    remedy="Tick those that go",
                )
            found[name] = [] if len(ticked) == len(offered) else ticked
        return found


class PlayedForm(forms.Form):
    """A match that is not played, or is played after all."""

    match = forms.ModelChoiceField(queryset=Match.objects.none())
    played = forms.BooleanField(required=False)

    def __init__(self, data: Any = None, *, scope: Scope, event: Event) -> None:
        super().__init__(data)
        field = self.fields["match"]
        assert isinstance(field, forms.ModelChoiceField)
        field.queryset = scope.rows(Match).filter(event=event)


class BackForm(forms.Form):
    """A battery that may go out again."""

    battery = forms.ModelChoiceField(queryset=Battery.objects.none())

    def __init__(self, data: Any = None, *, scope: Scope) -> None:
        super().__init__(data)
        field = self.fields["battery"]
        assert isinstance(field, forms.ModelChoiceField)
        field.queryset = scope.rows(Battery).filter(archived=False)
