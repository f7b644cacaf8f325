"""The event page for a phone in the pit: the next match, its battery, and everything that is logged there."""

from __future__ import annotations

import json
from typing import Any, ClassVar

from django.core.exceptions import ValidationError
from django.forms import Form
from django.http import HttpRequest, HttpResponse, HttpResponseBase
from django.utils import timezone

from builds.models import Event
from builds.selectors.events import events_ahead, events_past
from compliance.pit_forms import MOVES_MIN, AddForm, SwapForm
from compliance.selectors.pit import Pit, carriers, likely_batteries, pit
from compliance.selectors.pit_swap import LOW_REST_V, known_batteries
from compliance.views.event_tabs import event_tabs
from inventory.models import BatteryIncident
from shared.access import Can
from shared.errors import DomainError, NotAllowed
from shared.pages import TeamPage

#: Past events offered where none is ahead.
PAST = 3


class PitList(TeamPage):
    """Straight to the event that is on; else which one?"""

    nav_key = "pit"

    def get(self, request: HttpRequest, **kwargs: Any) -> HttpResponseBase:
        today = timezone.localdate()
        events = list(events_ahead(self.scope, today))
        on = [event for event in events if event.starts_on <= today]
        if len(on) == 1:
            return self.go("pit", pk=on[0].pk)
        ahead = (events[0].starts_on - today).days if events else 0
        past = [] if events else list(events_past(self.scope, today)[:PAST])
        context = {"events": events, "past": past, "next_in": max(ahead, 0)}
        return self.render("compliance/pit/list.html", context)


class PitShown(TeamPage):
    """An event's page in the pit, shown whole, or its live part alone for htmx."""

    nav_key = "pit"
    #: Where an entry leads back to.
    home: ClassVar[str] = "pit"
    event: Event

    def find(self) -> None:
        self.event = self.scope.get(Event, pk=self.kwargs["pk"])

    def show(
        self,
        *,
        swap: SwapForm | None = None,
        add: Form | None = None,
        refused: str = "",
        status: int = 200,
    ) -> HttpResponse:
        now = pit(self.scope, self.event, timezone.now())
        context = self.live(now)
        if self.request.headers.get("HX-Request") == "true":
            return self.render("compliance/pit/_live.html", {**context, "part": True})
        swap = swap or SwapForm(scope=self.scope, event=self.event)
        context |= {
            "tabs": event_tabs(self, self.event),
            "swap": swap,
            "ask_anyway": "although_unfit" in swap.errors,
            "add": add or AddForm(scope=self.scope, event=self.event),
            "out": now.in_robot_of(now.next.match) if now.next else None,
            "likely": likely_batteries(now),
            "carriers": carriers(self.scope, now),
            "batteries": list(now.cart.values()),
            "ahead": [match for match in now.matches if match.starts_at > now.now],
            "kinds": BatteryIncident.Kind.choices,
            "moves": MOVES_MIN,
            "api": f"/api/v1/t/{self.scope.team.slug}/",
            "refused": refused,
        }
        return self.render("compliance/pit/pit.html", context, status=status)

    def live(self, now: Pit) -> dict[str, Any]:
        works = self.scope.can(Can.WORK)
        return {
            "pit": now,
            "event": self.event,
            "works": works,
            "known": json.dumps(known_batteries(now, now.next.match if now.next else None)),
            "low_v": LOW_REST_V,
            "schedule_url": self.url("schedule", pk=self.event.pk) if works else "",
            "schedule_label": "Bring in the schedule",
        }


class PitPage(PitShown):
    def get(self, request: HttpRequest, **kwargs: Any) -> HttpResponse:
        self.find()
        return self.show()


class PitAct(PitShown):
    """One entry of the pit. What is refused is said on the page itself, with what was typed kept."""

    http_method_names = ["post"]

    def form(self, data: Any) -> Form:
        raise NotImplementedError

    def act(self, given: dict[str, Any]) -> list[str]:
        """Call the service; returns what happened and what changed, a sentence each."""
        raise NotImplementedError

    def again(self, form: Form) -> dict[str, Any]:
        """How the page shows a refused form: the sentences above all, unless the form has a place of its own."""
        sentences = [error for errors in form.errors.values() for error in errors]
        return {"refused": " ".join(str(sentence) for sentence in sentences)}

    def post(self, request: HttpRequest, **kwargs: Any) -> HttpResponseBase:
        self.find()
        form = self.form(request.POST)
        if form.is_valid():
            try:
                said = self.act(form.cleaned_data)
            except NotAllowed:
                raise
            except DomainError as refused:
                form.add_error(refused.field if refused.field in form.fields else None, refused.sentence)
            except ValidationError as wrong:
                form.add_error(None, wrong.messages)
            else:
                for sentence in said:
                    self.say(sentence)
                return self.go(self.home, pk=self.event.pk)
        return self.show(**self.again(form), status=422)
