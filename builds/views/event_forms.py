"""Events, matches and how batteries are handled, as they are entered."""

from __future__ import annotations

from typing import Any, cast

from django.core.exceptions import ValidationError
from django.forms import ModelChoiceField, ModelForm
from django.http import HttpRequest, HttpResponse, HttpResponseBase

from builds.forms.events import EVENT_FIELDS, GOING, EventForm, HandlingForm
from builds.models import Event, Match, Robot
from builds.selectors.cart_rows import handling_of
from builds.services.events import event_save, handling_save, match_save
from shared.access import Can, Scope
from shared.errors import DomainError, NotAllowed
from shared.models import TeamOwned
from shared.pages import RowFormPage, TeamPage, show_refusal


class EventPage(RowFormPage):
    """An event and what goes there, saved together."""

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
            robots, batteries, chargers = (list(form.cleaned_data[name]) for name in GOING)
            try:
                event_save(
                    scope=self.scope,
                    event=form.instance,
                    robots=robots,
                    batteries=batteries,
                    chargers=chargers,
                )
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
    fields = ("robot", "number", "starts_at", "importance", "strength", "carrier", "called_off")
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


class HandlingPage(TeamPage):
    """How long each step takes at an event; common practice until somebody says otherwise."""

    nav_key = "events"
    read = write = Can.SUPPLY

    def event(self) -> Event:
        return self.scope.get(Event, pk=self.kwargs["pk"])

    def form(self, event: Event, data: Any = None) -> ModelForm[Any]:
        row = handling_of(event)
        row.team, row.event = self.scope.team, event
        return HandlingForm(data=data, instance=row, team=self.scope.team)

    def get(self, request: HttpRequest, **kwargs: Any) -> HttpResponse:
        event = self.event()
        return self.show(event, self.form(event))

    def show(self, event: Event, form: ModelForm[Any], status: int = 200) -> HttpResponse:
        context = {
            "form": form,
            "title": f"Handling at {event.name}",
            "lead": "How long each step of a battery's way round the pit takes. The rotation is planned with it.",
            "back_url": self.url("event-detail", pk=event.pk),
        }
        return self.render("builds/form.html", context, status=status)

    def post(self, request: HttpRequest, **kwargs: Any) -> HttpResponseBase:
        event = self.event()
        form = self.form(event, request.POST)
        if form.is_valid():
            try:
                handling_save(scope=self.scope, handling=form.instance)
            except NotAllowed:
                raise
            except (ValidationError, DomainError) as wrong:
                show_refusal(form, wrong)
            else:
                self.say(f"Handling at {event.name} saved.")
                return self.go("event-detail", pk=event.pk)
        return self.show(event, form, status=422)
