"""The review of an event: which battery ran which match with which voltages, planned against done, what was learned."""

from __future__ import annotations

from typing import Any

from django.http import HttpRequest, HttpResponse
from django.utils import timezone

from builds.models import Event
from builds.selectors.review import event_review
from compliance.selectors.battery_health import verdicts
from compliance.selectors.review_page import review_page
from compliance.views.event_tabs import event_tabs
from shared.pages import TeamPage


class EventReviewPage(TeamPage):
    """What happened, and what to do with each battery."""

    nav_key = "pit"

    def get(self, request: HttpRequest, **kwargs: Any) -> HttpResponse:
        event = self.scope.get(Event, pk=self.kwargs["pk"])
        review = event_review(self.scope, event)
        batteries = [row.battery.pk for row in review.batteries]
        told = verdicts(self.scope, batteries, now=timezone.now()) if batteries else {}
        context = {
            "event": event,
            "review": review,
            "seen": review_page(self.scope, event, review, told),
            "tabs": event_tabs(self, event),
        }
        return self.render("compliance/rotation/review.html", context)
