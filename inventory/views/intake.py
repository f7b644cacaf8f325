"""A battery joins the team: one page for itself, what the meters say, and its first charge."""

from __future__ import annotations

from typing import Any

from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse, HttpResponseBase

from inventory.forms.intake import IntakeFormBase, intake_form
from inventory.services.intake import Intake, battery_intake
from shared.access import Can
from shared.errors import DomainError, NotAllowed
from shared.pages import TeamPage, show_refusal


class BatteryNew(TeamPage):
    """Intake. What was not measured or charged yet is left empty and follows from the battery's page."""

    nav_key = "batteries"
    read = Can.WORK

    def get(self, request: HttpRequest, **kwargs: Any) -> HttpResponse:
        return self.show(intake_form(self.scope))

    def show(self, form: IntakeFormBase, status: int = 200) -> HttpResponse:
        context = {"form": form, "any_model": form.fields["model"].queryset.exists()}  # type: ignore[attr-defined]
        return self.render("inventory/battery_intake.html", context, status=status)

    def post(self, request: HttpRequest, **kwargs: Any) -> HttpResponseBase:
        form = intake_form(self.scope, request.POST)
        if form.is_valid():
            try:
                made = battery_intake(
                    scope=self.scope,
                    battery=form.instance,
                    first=form.first_reading(),
                    charger=form.cleaned_data["charger"],
                )
            except NotAllowed:
                raise
            except (DomainError, ValidationError) as refused:
                show_refusal(form, refused)
            else:
                self.say(told(made))
                return self.go("battery-detail", pk=made.battery.pk)
        return self.show(form, status=422)


def told(made: Intake) -> str:
    """What was entered, in one line."""
    said = [f"Battery {made.battery.code} added"]
    if made.reading is not None:
        said.append(f"{made.reading.resistance_mohm:g} mΩ noted")
    if made.charge is not None:
        said.append(f"on {made.charge.charger}")
    return ", ".join(said) + "."
