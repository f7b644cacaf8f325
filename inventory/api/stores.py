"""API of the stores: stock, spools, and the ledger, which only grows."""

from __future__ import annotations

from typing import Any

from drf_spectacular.utils import extend_schema
from rest_framework import mixins
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from inventory.api.serializers import (
    ArchivedSerializer,
    MovementInSerializer,
    MovementSerializer,
    MoveSerializer,
    SpoolInSerializer,
    SpoolSerializer,
    StockItemSerializer,
    UndoSerializer,
)
from inventory.models import Movement, MovementKind, Spool, StockItem
from inventory.services.ledger import (
    movement_reverse,
    stock_count,
    stock_move,
    stock_receive,
    stock_return,
    stock_scrap,
    stock_use,
)
from inventory.services.spools import spool_create, spool_move
from shared.api import TeamReadViewSet
from shared.records import record_archive


class StockItemViewSet(TeamReadViewSet):
    """How much of each part lies in each bin; it changes through movements only."""

    queryset = StockItem.objects.order_by("part", "bin")
    serializer_class = StockItemSerializer
    filterset_fields = ("part", "bin")


class SpoolViewSet(mixins.CreateModelMixin, TeamReadViewSet):
    """Spools; a new one is entered with its length as the first line of its ledger."""

    queryset = Spool.objects.order_by("code")
    serializer_class = SpoolSerializer
    filterset_fields = ("wire", "bin", "archived")

    @extend_schema(request=SpoolInSerializer, responses={201: SpoolSerializer})
    def create(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        asked = SpoolInSerializer(data=request.data, context=self.get_serializer_context())
        asked.is_valid(raise_exception=True)
        return Response(
            SpoolSerializer(spool_create(scope=self.scope, **asked.validated_data)).data, status=201
        )

    @extend_schema(
        request=ArchivedSerializer, responses=SpoolSerializer, summary="Take out of use, or bring back"
    )
    @action(detail=True, methods=["post"])
    def archive(self, request: Request, team: str, pk: str) -> Response:
        instance = self.get_object()
        asked = ArchivedSerializer(data=request.data)
        asked.is_valid(raise_exception=True)
        row = record_archive(scope=self.scope, instance=instance, archived=asked.validated_data["archived"])
        return Response(SpoolSerializer(row).data)


class MovementViewSet(TeamReadViewSet):
    """The ledger. Each kind of movement has an address of its own; a line is undone by a new line."""

    queryset = Movement.objects.order_by("-at", "-pk")
    serializer_class = MovementSerializer
    filterset_fields = {
        "kind": ["exact"],
        "part": ["exact"],
        "bin": ["exact"],
        "spool": ["exact"],
        "at": ["gte", "lt"],
    }

    def _post(self, service: Any, request: Request) -> Response:
        asked = MovementInSerializer(data=request.data, context=self.get_serializer_context())
        asked.is_valid(raise_exception=True)
        made = service(scope=self.scope, **asked.validated_data)
        return Response(MovementSerializer(made).data, status=201)

    @extend_schema(request=MovementInSerializer, responses={201: MovementSerializer}, summary="Goods came in")
    @action(detail=False, methods=["post"])
    def receive(self, request: Request, team: str) -> Response:
        return self._post(stock_receive, request)

    @extend_schema(
        request=MovementInSerializer, responses={201: MovementSerializer}, summary="Take for a robot"
    )
    @action(detail=False, methods=["post"])
    def use(self, request: Request, team: str) -> Response:
        return self._post(stock_use, request)

    @extend_schema(request=MovementInSerializer, responses={201: MovementSerializer}, summary="Put back")
    @action(detail=False, methods=["post"], url_path=MovementKind.RETURN, url_name="return")
    def put_back(self, request: Request, team: str) -> Response:
        return self._post(stock_return, request)

    @extend_schema(request=MovementInSerializer, responses={201: MovementSerializer}, summary="Throw away")
    @action(detail=False, methods=["post"])
    def scrap(self, request: Request, team: str) -> Response:
        return self._post(stock_scrap, request)

    @extend_schema(
        request=MovementInSerializer, responses={201: MovementSerializer}, summary="Say what is there"
    )
    @action(detail=False, methods=["post"])
    def count(self, request: Request, team: str) -> Response:
        return self._post(stock_count, request)

    @extend_schema(
        request=MoveSerializer, responses={201: MovementSerializer(many=True)}, summary="Carry elsewhere"
    )
    @action(detail=False, methods=["post"])
    def move(self, request: Request, team: str) -> Response:
        asked = MoveSerializer(data=request.data, context=self.get_serializer_context())
        asked.is_valid(raise_exception=True)
        given = dict(asked.validated_data)
        if "spool" in given:
            for name in ("part", "bin", "quantity"):
                given.pop(name, None)
            spool = spool_move(scope=self.scope, **given)
            lines = list(self.get_queryset().filter(spool=spool, kind=MovementKind.MOVE)[:2])
        else:
            lines = list(stock_move(scope=self.scope, **given))
        return Response(MovementSerializer(lines, many=True).data, status=201)

    @extend_schema(
        request=UndoSerializer, responses={201: MovementSerializer(many=True)}, summary="Undo a line"
    )
    @action(detail=True, methods=["post"])
    def undo(self, request: Request, team: str, pk: str) -> Response:
        line = self.get_object()
        asked = UndoSerializer(data=request.data)
        asked.is_valid(raise_exception=True)
        made = movement_reverse(scope=self.scope, movement=line, **asked.validated_data)
        return Response(MovementSerializer(made, many=True).data, status=201)
