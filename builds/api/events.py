"""API of events, what they will eat, how batteries are handled there, and of matches."""

from __future__ import annotations

from typing import Any

from django.utils import timezone
from drf_spectacular.utils import extend_schema
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from builds.api.filters import EventFilter, MatchFilter
from builds.api.serializers import (
    CallOffSerializer,
    DemandSerializer,
    EventSerializer,
    HandlingSerializer,
    MatchSerializer,
    ShiftSerializer,
)
from builds.models import Event, Handling, Match
from builds.selectors.cart_rows import handling_of
from builds.selectors.stores import event_needs
from builds.services.events import event_save, handling_save, match_call_off, match_save, matches_shift
from shared.access import Can, Scope
from shared.api import TeamViewSet


class EventViewSet(TeamViewSet):
    queryset = Event.objects.prefetch_related("robots", "batteries", "chargers").order_by("-starts_on", "pk")
    serializer_class = EventSerializer
    filterset_class = EventFilter
    need = write = Can.SUPPLY

    def _write(self, serializer: Any, instance: Any) -> None:
        given = dict(serializer.validated_data)
        going = {name: given.pop(name, None) for name in ("robots", "batteries", "chargers")}
        for name, value in given.items():
            setattr(instance, name, value)
        serializer.instance = event_save(scope=self.scope, event=instance, **going)

    @extend_schema(responses=DemandSerializer, summary="What the event will eat, and by when to order it")
    @action(detail=True, methods=["get"])
    def demand(self, request: Request, team: str, pk: str) -> Response:
        needs = event_needs(self.scope, self.get_object(), today=timezone.localdate())
        return Response(DemandSerializer(needs).data)

    @extend_schema(
        request=ShiftSerializer, responses=MatchSerializer(many=True), summary="Matches later or earlier"
    )
    @action(detail=True, methods=["post"], pagination_class=None, filter_backends=())
    def shift(self, request: Request, team: str, pk: str) -> Response:
        """Answers with the matches that moved."""
        event = self.get_object()
        asked = ShiftSerializer(data=request.data, context=self.get_serializer_context())
        asked.is_valid(raise_exception=True)
        moved = matches_shift(scope=self.scope, event=event, **asked.validated_data)
        return Response(MatchSerializer(moved, many=True).data)

    @extend_schema(methods=["GET"], responses=HandlingSerializer, summary="How long each step takes there")
    @extend_schema(methods=["PUT"], request=HandlingSerializer, responses=HandlingSerializer,
                   summary="Say how long each step takes there")  # fmt: skip
    @action(detail=True, methods=["get", "put"])
    def handling(self, request: Request, team: str, pk: str) -> Response:
        """Common practice until somebody says otherwise."""
        event = self.get_object()
        if request.method == "GET":
            return Response(HandlingSerializer(handling_of(event)).data)
        asked = HandlingSerializer(data=request.data, context=self.get_serializer_context())
        asked.is_valid(raise_exception=True)
        given = Handling(team=self.scope.team, event=event, **asked.validated_data)
        return Response(HandlingSerializer(handling_save(scope=self.scope, handling=given)).data)


def save_match(*, scope: Scope, instance: Match, need: Can) -> Match:
    scope.require(need)
    return match_save(scope=scope, match=instance)


class MatchViewSet(TeamViewSet):
    queryset = Match.objects.order_by("starts_at", "pk")
    serializer_class = MatchSerializer
    filterset_class = MatchFilter
    save = staticmethod(save_match)

    @extend_schema(
        request=CallOffSerializer, responses=MatchSerializer, summary="Not played, or played after all"
    )
    @action(detail=True, methods=["post"], url_path="call-off", url_name="call-off")
    def call_off(self, request: Request, team: str, pk: str) -> Response:
        match = self.get_object()
        asked = CallOffSerializer(data=request.data)
        asked.is_valid(raise_exception=True)
        return Response(
            MatchSerializer(match_call_off(scope=self.scope, match=match, **asked.validated_data)).data
        )
