"""A battery goes out and comes back, as it is entered away from the pit."""

from __future__ import annotations

from typing import Any, cast

from django.core.exceptions import ValidationError
from django.forms import ModelForm
from django.http import HttpRequest, HttpResponse, HttpResponseBase, HttpResponseRedirect

from builds.forms.outings import OutingEndForm, OutingForm
from builds.models import Outing
from builds.services.outings import outing_end, outing_log, outing_start
from inventory.models import Battery
from shared.access import Can
from shared.errors import DomainError, NotAllowed
from shared.models import TeamOwned
from shared.pages import RowFormPage, TeamPage, show_refusal


class OutingNew(TeamPage):
    """Which battery went out: made for a phone; ?match= and ?battery= fill in what is known."""

    nav_key = "events"
    read = Can.WORK

    def get(self, request: HttpRequest, **kwargs: Any) -> HttpResponse:
        known = {
            n: request.GET[n] for n in ("match", "battery", "robot") if request.GET.get(n, "").isdecimal()
        }
        return self.show(OutingForm(scope=self.scope, initial=known))

    def show(self, form: OutingForm, status: int = 200) -> HttpResponse:
        any_battery = self.scope.rows(Battery).filter(archived=False).exists()
        return self.render("builds/outing.html", {"form": form, "any_battery": any_battery}, status=status)

    def post(self, request: HttpRequest, **kwargs: Any) -> HttpResponseBase:
        form = OutingForm(request.POST, scope=self.scope)
        if form.is_valid():
            try:
                made = self.enter(form.cleaned_data)
            except NotAllowed:
                raise
            except (DomainError, ValidationError) as refused:
                show_refusal(form, refused)
            else:
                return after(self, made)
        return self.show(form, status=422)

    def enter(self, given: dict[str, Any]) -> Outing:
        """Just now into a robot: a swap. With a time, or nobody knows which robot: noted afterwards."""
        if given["started_at"] is None and (given["match"] or given["robot"]):
            made = outing_start(scope=self.scope, **given)
            self.say(f"{made.battery.code} is in {made.robot}{_for(made)}.")
        else:
            made = outing_log(scope=self.scope, **given)
            self.say(f"{made.battery.code} went out{_for(made) or ' for practice'}.")
        return made


class OutingEnd(TeamPage):
    """It came out of the robot: what the meter says may follow."""

    nav_key = "events"
    read = Can.WORK
    outing: Outing

    def find(self) -> None:
        rows = Outing.objects.select_related("battery", "robot", "match__event")
        self.outing = self.scope.get(rows, pk=self.kwargs["pk"])

    def get(self, request: HttpRequest, **kwargs: Any) -> HttpResponse:
        self.find()
        return self.show(OutingEndForm())

    def show(self, form: OutingEndForm, status: int = 200) -> HttpResponse:
        out, code = self.outing, self.outing.battery.code
        where = f" of {out.robot}" if out.robot else ""
        context = {
            "form": form,
            "title": f"{code} comes out{where}" if out.in_robot else f"{code} is out{where} already",
            "lead": "Rest voltage some minutes after it came out; lowest voltage and charge from the robot's log.",
            "back_url": back_of(self, out),
            "caution": "battery",
            "submit": "It is out" if out.in_robot else "Add figures",
        }
        return self.render("builds/form.html", context, status=status)

    def post(self, request: HttpRequest, **kwargs: Any) -> HttpResponseBase:
        self.find()
        form = OutingEndForm(request.POST)
        if form.is_valid():
            try:
                made = outing_end(scope=self.scope, outing=self.outing, **form.cleaned_data)
            except NotAllowed:
                raise
            except (DomainError, ValidationError) as refused:
                show_refusal(form, refused)
            else:
                self.say(f"{made.battery.code} is out.")
                return after(self, made)
        return self.show(form, status=422)


class OutingEdit(RowFormPage):
    """Correct what was noted of an outing."""

    nav_key = "events"
    model = Outing
    fields = ("start_rest_v", "end_rest_v", "lowest_v", "used_ah", "note")
    template = "builds/form.html"

    def instance(self) -> TeamOwned:
        rows = Outing.objects.select_related("battery", "match__event")
        return self.scope.get(rows, pk=self.kwargs["pk"])

    def after_url(self, row: TeamOwned) -> str:
        return back_of(self, cast(Outing, row))

    def context(self, form: ModelForm[Any], row: TeamOwned) -> dict[str, Any]:
        words = {"title": f"Outing of {row}", "back_url": self.after_url(row), "caution": "battery"}
        return {**super().context(form, row), **words}


def after(page: TeamPage, outing: Outing) -> HttpResponseRedirect:
    return HttpResponseRedirect(back_of(page, outing))


def back_of(page: TeamPage, outing: Outing) -> str:
    """The event of the outing's match, else the battery."""
    if outing.match:
        return page.url("event-detail", pk=outing.match.event_id)
    return page.url("battery-detail", pk=outing.battery_id)


def _for(outing: Outing) -> str:
    return f" for match {outing.match.number}" if outing.match else ""
