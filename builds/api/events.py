"""API of events, what they will eat, matches, and outings of batteries."""

from __future__ import annotations

from typing import Any

from django.utils import timezone
from drf_spectacular.utils import extend_schema
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from builds.api.filters import EventFilter, MatchFilter, OutingFilter
from builds.api.serializers import (
    DemandSerializer,
    EventSerializer,
    MatchSerializer,
    OutingChangeSerializer,
    OutingSerializer,
)
from builds.models import Event, Match, Outing
from builds.selectors.stores import event_needs
from builds.services.events import event_save, match_save
from builds.services.outings import outing_log
from shared.access import Can, Scope
from shared.api import TeamViewSet


class EventViewSet(TeamViewSet):
    queryset = Event.objects.prefetch_related("robots").order_by("-starts_on", "pk")
    serializer_class = EventSerializer
    filterset_class = EventFilter
    need = write = Can.SUPPLY

    def _write(self, serializer: Any, instance: Any) -> None:
        given = dict(serializer.validated_data)
        robots = given.pop("robots", None)
        for name, value in given.items():
            setattr(instance, name, value)
        serializer.instance = event_save(scope=self.scope, event=instance, robots=robots)

    @extend_schema(responses=DemandSerializer, summary="What the event will eat, and by when to order it")
    @action(detail=True, methods=["get"])
    def demand(self, request: Request, team: str, pk: str) -> Response:
        needs = event_needs(self.scope, self.get_object(), today=timezone.localdate())
        return Response(DemandSerializer(needs).data)


def save_match(*, scope: Scope, instance: Match, need: Can) -> Match:
    scope.require(need)
    return match_save(scope=scope, match=instance)


class MatchViewSet(TeamViewSet):
    queryset = Match.objects.order_by("starts_at", "pk")
    serializer_class = MatchSerializer
    filterset_class = MatchFilter
    save = staticmethod(save_match)


class OutingViewSet(TeamViewSet):
    """Outings; the same one sent twice is one, and a battery out of service is refused unless it is said so."""

    queryset = Outing.objects.order_by("-started_at", "-pk")
    serializer_class = OutingSerializer
    filterset_class = OutingFilter

    def get_serializer_class(self) -> Any:
        if self.action in ("update", "partial_update"):
            return OutingChangeSerializer
        return super().get_serializer_class()

    def perform_create(self, serializer: Any) -> None:
        serializer.instance = outing_log(scope=self.scope, **serializer.validated_data)
