"""What happened to a battery, what a qualified adult found, and how its life here ends."""

from __future__ import annotations

from typing import Any, ClassVar

from django.core.exceptions import ValidationError
from django.forms import Form
from django.http import HttpRequest, HttpResponse, HttpResponseBase

from inventory.forms.incidents import IncidentCloseForm, IncidentForm, RetireForm
from inventory.models import BatteryIncident, BatteryState
from inventory.selectors.incidents import incidents, open_incidents
from inventory.services.batteries import battery_set_state
from inventory.services.incidents import incident_close, incident_log
from inventory.views.batteries import BatteryEntry
from shared.access import Can
from shared.errors import DomainError, NotAllowed
from shared.models import TeamOwned
from shared.pages import TeamPage, show_refusal

#: Common practice, no source.
PUT_ASIDE = "Put it aside in the open, away from what burns, and call the responsible adult."


class IncidentNew(BatteryEntry):
    """One tap says what happened; a grave one puts the battery into quarantine at once."""

    title = "What happened to {}?"
    template = "inventory/incident_new.html"
    submit = "Note it"

    def form(self, data: Any = None) -> Form:
        return IncidentForm(data)

    def more(self) -> dict[str, Any]:
        return {
            "grave": ", ".join(kind.label.lower() for kind in BatteryIncident.QUARANTINES),
            "earlier": incidents(self.scope, self.battery)[:6],
        }

    def enter(self, given: dict[str, Any]) -> str:
        made = incident_log(scope=self.scope, battery=self.battery, **given)
        said = f"{self.battery.code}: {made.get_kind_display().lower()} noted."
        if made.is_grave:
            said += f" It is in quarantine. {PUT_ASIDE}"
        return said


class IncidentClose(TeamPage):
    """A qualified adult writes down what was found."""

    nav_key = "batteries"
    subject_model: ClassVar[type[TeamOwned]] = BatteryIncident
    read = write = Can.SUPPLY
    incident: BatteryIncident

    def find(self) -> None:
        self.incident = self.scope.get(incidents(self.scope), pk=self.kwargs["pk"])

    def get(self, request: HttpRequest, **kwargs: Any) -> HttpResponse:
        self.find()
        return self.show(IncidentCloseForm())

    def show(self, form: IncidentCloseForm, status: int = 200) -> HttpResponse:
        battery = self.incident.battery
        context = {
            "form": form,
            "incident": self.incident,
            "battery": battery,
            "others": open_incidents(self.scope, battery).exclude(pk=self.incident.pk),
            "held": battery.state in (BatteryState.QUARANTINE, BatteryState.PRACTICE),
            "back_url": self.url("battery-detail", pk=battery.pk),
        }
        return self.render("inventory/incident_close.html", context, status=status)

    def post(self, request: HttpRequest, **kwargs: Any) -> HttpResponseBase:
        self.find()
        form = IncidentCloseForm(request.POST)
        if form.is_valid():
            try:
                made = incident_close(scope=self.scope, incident=self.incident, **form.cleaned_data)
            except NotAllowed:
                raise
            except (DomainError, ValidationError) as refused:
                show_refusal(form, refused)
            else:
                back = " It is back in service." if form.cleaned_data["back_in_service"] else ""
                self.say(f"{made.battery.code}: what was found is noted.{back}")
                return self.go("battery-detail", pk=made.battery_id)
        return self.show(form, status=422)


class BatteryRetire(BatteryEntry):
    """The end of a battery, with its reason and where it goes."""

    title = "Retire {}"
    template = "inventory/battery_retire.html"
    submit = "Retire it"

    def form(self, data: Any = None) -> Form:
        return RetireForm(data)

    def send(self, form: Form) -> str:
        assert isinstance(form, RetireForm)
        return self.enter({"reason": form.reason})

    def enter(self, given: dict[str, Any]) -> str:
        made = battery_set_state(
            scope=self.scope, battery=self.battery, state=BatteryState.RETIRED, reason=given["reason"]
        )
        return f"{made.code} is retired ({made.state_reason}). Cover its posts and take it to lead recycling."
