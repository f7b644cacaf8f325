"""API of scanned codes: what a label means."""

from __future__ import annotations

from typing import Any

from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from builds.selectors.scan import SeveralFound, find
from shared.api import TeamScoped

CODE = OpenApiParameter(
    "code", str, required=True, description="As scanned or typed: B:GP-07:D, or GP-07 alone"
)


class ThingSerializer(serializers.Serializer[Any]):
    """Something that carries a label."""

    kind = serializers.CharField(source="kind.word", help_text="battery, spool, bin or robot")
    id = serializers.IntegerField(source="pk")
    code = serializers.CharField()
    name = serializers.CharField(help_text="What it is called, or its model or wire type")
    label = serializers.CharField(  # type: ignore[assignment]  # a field of this name, not the name of a field
        help_text="What its label says, check character last"
    )
    archived = serializers.BooleanField()
    url = serializers.CharField(help_text="Address of its page")


class ScanApi(TeamScoped):
    @extend_schema(
        parameters=[CODE],
        responses={
            200: ThingSerializer,
            400: OpenApiTypes.OBJECT,
            404: OpenApiTypes.OBJECT,
            409: OpenApiTypes.OBJECT,
        },
        summary="The thing a scanned code means",
    )
    def get(self, request: Request, team: str) -> Response:
        """404 when nothing has the code, 400 when its check character is wrong, 409 and ``things`` if several fit."""
        try:
            return Response(ThingSerializer(find(self.scope, request.query_params.get("code", ""))).data)
        except SeveralFound as refused:
            several = ThingSerializer(refused.things, many=True).data
            return Response(
                {"detail": refused.sentence, "field": refused.field, "things": several}, status=409
            )
