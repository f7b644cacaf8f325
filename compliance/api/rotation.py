"""API of the rotation of an event: the plan, the wish for a new one, the cart, the next match, the review."""

from __future__ import annotations

from typing import Any

from django.http import HttpResponse
from django.utils import timezone
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from builds.models import Event, RotationPlan
from builds.rotation.calendar import event_calendar
from builds.selectors.cart import cart
from builds.selectors.next_match import next_match
from builds.selectors.review import event_review
from builds.selectors.rotation import current_plan
from compliance.api.rotation_shapes import (
    CartRowSerializer,
    NextSerializer,
    PlanSerializer,
    ReviewSerializer,
)
from compliance.services.rotation import plan_ask
from shared.api import TeamScoped
from shared.errors import Conflict


class PlanAskSerializer(serializers.Serializer[Any]):
    why = serializers.CharField(
        required=False, max_length=200, allow_blank=True, help_text="What set it off, in a sentence"
    )


class NoPlan(Conflict):
    """Nobody asked for a plan of this event yet."""

    status_code = 404


class _OfEvent(TeamScoped):
    """Any answer about one event of the team."""

    def event(self) -> Event:
        return self.scope.get(Event, pk=self.kwargs["pk"])


class PlanApi(_OfEvent):
    """The plan the pit follows. A post makes a new one: a first answer at once, the best one in the background."""

    serializer_class = PlanAskSerializer

    @extend_schema(responses=PlanSerializer, summary="Which battery goes out for which match")
    def get(self, request: Request, team: str, pk: int) -> Response:
        view = current_plan(self.scope, self.event())
        if view is None:
            raise NoPlan(
                "There is no plan of this event yet", field="event", remedy="Ask for one with a post"
            )
        return Response(PlanSerializer(view).data)

    @extend_schema(
        request=PlanAskSerializer,
        responses={201: PlanSerializer},
        summary="Plan anew; what happened already stays, and as little as possible changes",
    )
    def post(self, request: Request, team: str, pk: int) -> Response:
        event = self.event()
        asked = PlanAskSerializer(data=request.data)
        asked.is_valid(raise_exception=True)
        plan_ask(
            scope=self.scope,
            event=event,
            reason=RotationPlan.Reason.ASKED,
            why=asked.validated_data.get("why", ""),
        )
        return Response(PlanSerializer(current_plan(self.scope, event)).data, status=201)


class CartApi(_OfEvent):
    """Where every battery is now, what is left in it, and when it will be ready."""

    @extend_schema(responses=CartRowSerializer(many=True), summary="The cart now, by code")
    def get(self, request: Request, team: str, pk: int) -> Response:
        rows = cart(self.scope, self.event(), timezone.now())
        return Response(CartRowSerializer(rows, many=True).data)


class NextMatchApi(_OfEvent):
    """The next match: which battery, is it ready, how long is left, what to do now."""

    @extend_schema(
        responses=NextSerializer, summary="The next match and what to do for it; null after the last"
    )
    def get(self, request: Request, team: str, pk: int) -> Response:
        now = timezone.now()
        found = next_match(self.scope, self.event(), now)
        return Response(NextSerializer({"now": now, "next": found}).data)


class ReviewApi(_OfEvent):
    """Which battery ran which match with which voltages, planned against done."""

    @extend_schema(responses=ReviewSerializer, summary="The event looked back on")
    def get(self, request: Request, team: str, pk: int) -> Response:
        return Response(ReviewSerializer(event_review(self.scope, self.event())).data)


class CalendarApi(_OfEvent):
    """The matches with their batteries for a calendar."""

    @extend_schema(
        responses={(200, "text/calendar"): OpenApiTypes.STR}, summary="The matches as iCalendar (RFC 5545)"
    )
    def get(self, request: Request, team: str, pk: int) -> HttpResponse:
        event = self.event()
        answer = HttpResponse(
            event_calendar(self.scope, event, timezone.now()), content_type="text/calendar; charset=utf-8"
        )
        answer["Content-Disposition"] = f'attachment; filename="matches-{event.pk}.ics"'
        return answer
