"""The rotation of an event: the plan in words, as a time chart and match by match, and what sets off a new one."""

from __future__ import annotations

from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.forms import Form
from django.http import HttpRequest, HttpResponse, HttpResponseBase
from django.utils import timezone

from builds.models import Event, RotationPlan
from builds.rotation.calendar import event_calendar
from builds.services.events import event_save, match_call_off
from compliance.pit_forms import MOVES_MIN, AddForm, SwapForm
from compliance.rotation_forms import BackForm, CartForm, PlayedForm
from compliance.selectors.rotation_page import Rotation, rotation
from compliance.services.pit import replanned
from compliance.services.rotation import plan_ask
from compliance.views.event_tabs import event_tabs
from compliance.views.pit import PitAct, PitShown
from compliance.views.pit_acts import PitAdd, PitMove, PitPull
from inventory.models import Battery, BatteryIncident, BatteryState
from inventory.services.batteries import battery_set_state
from shared.access import Can
from shared.errors import DomainError, NotAllowed
from shared.pages import TeamPage, show_refusal
from shared.runs import progress

Reason = RotationPlan.Reason


class RotationShown(PitShown):
    """The rotation shown whole, or its live part alone for htmx."""

    home = "rotation"

    def show(
        self, *, swap: SwapForm | None = None, add: Form | None = None, refused: str = "", status: int = 200
    ) -> HttpResponse:
        now = rotation(self.scope, self.event, timezone.now())
        context = self.seen(now)
        if self.request.headers.get("HX-Request") == "true":
            return self.render("compliance/rotation/_live.html", {**context, "part": True})
        context |= {
            "tabs": event_tabs(self, self.event),
            "add": add or AddForm(scope=self.scope, event=self.event),
            "kinds": BatteryIncident.Kind.choices,
            "moves": MOVES_MIN,
            "chosen": self.request.GET.get("match", ""),
            "refused": refused,
        }
        return self.render("compliance/rotation/rotation.html", context, status=status)

    def seen(self, now: Rotation) -> dict[str, Any]:
        """What the live part and the sheet for the cart show."""
        run = now.view.plan.run if now.view and now.view.working else None
        return {
            "event": self.event,
            "rotation": now,
            "view": now.view,
            "job": progress(run, now.now) if run else None,
            "works": self.scope.can(Can.WORK),
            "supplies": self.scope.can(Can.SUPPLY),
        }


class RotationPage(RotationShown):
    def get(self, request: HttpRequest, **kwargs: Any) -> HttpResponse:
        self.find()
        return self.show()


class RotationSheet(RotationShown):
    """The plan on one sheet of paper, for the cart."""

    def get(self, request: HttpRequest, **kwargs: Any) -> HttpResponse:
        self.find()
        now = rotation(self.scope, self.event, timezone.now())
        return self.render("compliance/rotation/sheet.html", self.seen(now))


class RotationCalendar(TeamPage):
    """The matches with their batteries as iCalendar."""

    nav_key = "pit"

    def get(self, request: HttpRequest, **kwargs: Any) -> HttpResponse:
        event = self.scope.get(Event, pk=self.kwargs["pk"])
        answer = HttpResponse(
            event_calendar(self.scope, event, timezone.now()), content_type="text/calendar; charset=utf-8"
        )
        answer["Content-Disposition"] = f'attachment; filename="event-{event.pk}.ics"'
        return answer


class RotationPlanAnew(RotationShown, PitAct):
    """The first plan of an event, or a new one."""

    def form(self, data: Any) -> Form:
        return Form(data)

    def act(self, given: dict[str, Any]) -> list[str]:
        plan = plan_ask(scope=self.scope, event=self.event)
        if plan.state == RotationPlan.State.WORKING:
            return ["The first answer is there. The best plan is being worked out in the background."]
        return ["The plan is made."]


class RotationMove(RotationShown, PitMove):
    """A match, or it and all later ones of its day, earlier or later."""


class RotationAdd(RotationShown, PitAdd):
    """A match that was not on the schedule."""


class RotationPull(RotationShown, PitPull):
    """A battery leaves the rotation, with the reason."""


class RotationPlayed(RotationShown, PitAct):
    """A match is called off, or played after all: the same button undoes it."""

    def form(self, data: Any) -> Form:
        return PlayedForm(data, scope=self.scope, event=self.event)

    def act(self, given: dict[str, Any]) -> list[str]:
        match = match_call_off(scope=self.scope, match=given["match"], called_off=not given["played"])
        said = "is called off; its battery is free" if match.called_off else "is played after all"
        return [f"Match {match.number} {said}.", *replanned(self.scope, self.event, Reason.MATCHES)]


class RotationBack(RotationShown, PitAct):
    """A battery that was pulled may go out again."""

    write = Can.SUPPLY

    def form(self, data: Any) -> Form:
        return BackForm(data, scope=self.scope)

    def act(self, given: dict[str, Any]) -> list[str]:
        battery: Battery = given["battery"]
        now = battery_set_state(scope=self.scope, battery=battery, state=BatteryState.IN_SERVICE)
        changes = replanned(self.scope, self.event, Reason.BATTERIES, f"{now.code} is back.")
        return [f"{now.code} is back in service and may go out again.", *changes]


class RotationCart(TeamPage):
    """Which batteries and chargers go to the event."""

    nav_key = "pit"
    read = write = Can.SUPPLY

    def event(self) -> Event:
        return self.scope.get(Event, pk=self.kwargs["pk"])

    def get(self, request: HttpRequest, **kwargs: Any) -> HttpResponse:
        event = self.event()
        return self.show(event, CartForm(scope=self.scope, event=event))

    def show(self, event: Event, form: forms.Form, status: int = 200) -> HttpResponse:
        context = {
            "form": form,
            "event": event,
            "title": f"What goes to {event.name}?",
            "back_url": self.url("rotation", pk=event.pk),
        }
        return self.render("web/row_form.html", context, status=status)

    def post(self, request: HttpRequest, **kwargs: Any) -> HttpResponseBase:
        event = self.event()
        form = CartForm(request.POST, scope=self.scope, event=event)
        if form.is_valid():
            try:
                chosen = form.chosen()
                event_save(
                    scope=self.scope, event=event, batteries=chosen["batteries"], chargers=chosen["chargers"]
                )
            except NotAllowed:
                raise
            except (DomainError, ValidationError) as refused:
                show_refusal(form, refused)
            else:
                self.say(f"What goes to {event.name} is saved.")
                for sentence in replanned(self.scope, event, Reason.BATTERIES, "The cart was chosen anew."):
                    self.say(sentence)
                return self.go("rotation", pk=event.pk)
        return self.show(event, form, status=422)
