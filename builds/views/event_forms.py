"""Events, matches and outings as they are entered."""

from __future__ import annotations

from typing import Any, cast

from django.core.exceptions import ValidationError
from django.forms import ModelChoiceField, ModelForm
from django.http import HttpRequest, HttpResponse, HttpResponseBase

from builds.forms.events import EVENT_FIELDS, EventForm, OutingForm
from builds.models import Event, Match, Outing, Robot
from builds.services.events import event_save, match_save
from builds.services.outings import outing_log
from inventory.models import Battery
from shared.access import Can, Scope
from shared.errors import DomainError, NotAllowed
from shared.models import TeamOwned
from shared.pages import RowFormPage, TeamPage, show_refusal


class EventPage(RowFormPage):
    """An event and the robots that go, saved together."""

    nav_key = "events"
    model = Event
    fields = EVENT_FIELDS
    template = "builds/form.html"
    list_url = "event-list"
    read = need = write = Can.SUPPLY

    def form(self, instance: TeamOwned, data: Any = None) -> ModelForm[Any]:
        return EventForm(data=data, instance=instance, team=self.scope.team)

    def after_url(self, row: TeamOwned) -> str:
        return self.url("event-detail", pk=row.pk)

    def post(self, request: HttpRequest, **kwargs: Any) -> HttpResponseBase:
        event = cast(Event, self.instance())
        form = self.form(event, request.POST)
        if form.is_valid():
            robots = list(form.cleaned_data["robots"])
            try:
                event_save(scope=self.scope, event=form.instance, robots=robots)
            except ValidationError as wrong:
                show_refusal(form, wrong)
            else:
                self.say(f"{event} saved; {len(robots)} robot{'s go' if len(robots) != 1 else ' goes'}.")
                return self.go("event-detail", pk=event.pk)
        return self.render(self.template, self.context(form, event), status=422)


def save_match(*, scope: Scope, instance: Match) -> Match:
    return match_save(scope=scope, match=instance)


class MatchPage(RowFormPage):
    nav_key = "events"
    model = Match
    fields = ("robot", "number", "starts_at", "importance")
    template = "builds/form.html"
    save = staticmethod(save_match)

    def form(self, instance: TeamOwned, data: Any = None) -> ModelForm[Any]:
        made = super().form(instance, data)
        field = cast("ModelChoiceField[Robot]", made.fields["robot"])
        field.queryset = self.scope.rows(Robot).filter(events=cast(Match, instance).event_id)
        return made

    def after_url(self, row: TeamOwned) -> str:
        return self.url("event-detail", pk=cast(Match, row).event_id)

    def context(self, form: ModelForm[Any], row: TeamOwned) -> dict[str, Any]:
        match = cast(Match, row)
        title = f"Edit match {match.number}" if match.pk else f"New match at {match.event}"
        words = {"title": title, "back_url": self.after_url(match)}
        return {**super().context(form, row), **words}


class MatchNew(MatchPage):
    def instance(self) -> TeamOwned:
        return Match(team=self.scope.team, event=self.scope.get(Event, pk=self.kwargs["pk"]))


class MatchEdit(MatchPage):
    def instance(self) -> TeamOwned:
        return self.scope.get(Match.objects.select_related("event"), pk=self.kwargs["pk"])


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
                made = outing_log(scope=self.scope, **form.cleaned_data)
            except NotAllowed:
                raise
            except (DomainError, ValidationError) as refused:
                show_refusal(form, refused)
            else:
                where = f"match {made.match.number}" if made.match else "practice"
                self.say(f"{made.battery.code} went out for {where}.")
                if made.match:
                    return self.go("event-detail", pk=made.match.event_id)
                return self.go("battery-detail", pk=made.battery_id)
        return self.show(form, status=422)


class OutingEdit(RowFormPage):
    """What is known once the battery is back: rest voltage, lowest voltage, charge used."""

    nav_key = "events"
    model = Outing
    fields = ("start_rest_v", "end_rest_v", "lowest_v", "used_ah", "note")
    template = "builds/form.html"

    def instance(self) -> TeamOwned:
        rows = Outing.objects.select_related("battery", "match__event")
        return self.scope.get(rows, pk=self.kwargs["pk"])

    def after_url(self, row: TeamOwned) -> str:
        outing = cast(Outing, row)
        if outing.match:
            return self.url("event-detail", pk=outing.match.event_id)
        return self.url("battery-detail", pk=outing.battery_id)

    def context(self, form: ModelForm[Any], row: TeamOwned) -> dict[str, Any]:
        words = {"title": f"Outing of {row}", "back_url": self.after_url(row), "caution": "battery"}
        return {**super().context(form, row), **words}
