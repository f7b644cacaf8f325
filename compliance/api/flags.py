"""API of flags and waivers."""

from __future__ import annotations

from typing import Any

from django.db.models import QuerySet
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from compliance.models import Flag, FlagEvent, Waiver
from compliance.selectors.flag_filter import FlagFilter, flags_marked
from compliance.selectors.flags import flag_history
from compliance.services.flags import flag_waive, waiver_withdraw
from shared.access import Can
from shared.api import TeamReadViewSet


class FlagSerializer(serializers.ModelSerializer[Flag]):
    waived = serializers.BooleanField(read_only=True, help_text="A waiver holds today")
    waived_until = serializers.DateField(read_only=True, allow_null=True)

    class Meta:
        model = Flag
        fields: tuple[str, ...] = (
            "id", "rule_code", "sweep", "subject_kind", "subject_id", "subject_label", "severity", "state", "waived",
            "waived_until", "message", "value", "limit", "unit", "opened_at", "changed_at", "cleared_at",
            "cleared_reason",
        )  # fmt: skip


class FlagEventSerializer(serializers.ModelSerializer[FlagEvent]):
    by = serializers.CharField(source="by.username", read_only=True, default=None, allow_null=True)

    class Meta:
        model = FlagEvent
        fields = ("at", "kind", "severity", "detail", "by")


class FlagDetailSerializer(FlagSerializer):
    working = serializers.DictField(read_only=True, help_text="Steps, limit, conclusion, source")
    history = serializers.SerializerMethodField()

    class Meta(FlagSerializer.Meta):
        fields = (*FlagSerializer.Meta.fields, "working", "history")

    @extend_schema(responses=FlagEventSerializer(many=True))
    def get_history(self, flag: Flag) -> list[dict[str, Any]]:
        events = flag_history(self.context["view"].scope, flag)
        return list(FlagEventSerializer(events, many=True).data)


class WaiveSerializer(serializers.Serializer[Any]):
    reason = serializers.CharField(max_length=400)
    until = serializers.DateField(help_text="The last day on which it holds")


class WaiverSerializer(serializers.ModelSerializer[Waiver]):
    by = serializers.CharField(source="by.username", read_only=True, default=None, allow_null=True)

    class Meta:
        model = Waiver
        fields = ("id", "flag", "reason", "until", "by", "created_at", "withdrawn_at")
        read_only_fields = fields


class FlagViewSet(TeamReadViewSet):
    """What the sweeps found. The list leaves out waived and cleared flags unless ``standing`` asks for them."""

    write = Can.GOVERN
    queryset = Flag.objects.all()
    filterset_class = FlagFilter

    def get_queryset(self) -> QuerySet[Any]:
        if getattr(self, "swagger_fake_view", False):
            return Flag.objects.none()
        return flags_marked(self.scope)

    def filter_queryset(self, queryset: QuerySet[Any]) -> QuerySet[Any]:
        """One flag is found by its id whether it is waived, cleared or open."""
        return super().filter_queryset(queryset) if self.action == "list" else queryset

    def get_serializer_class(self) -> type[serializers.BaseSerializer[Any]]:
        return FlagSerializer if self.action == "list" else FlagDetailSerializer

    @extend_schema(request=WaiveSerializer, responses={201: WaiverSerializer}, summary="Waive until a day")
    @action(detail=True, methods=["post"])
    def waive(self, request: Request, team: str, pk: str) -> Response:
        flag = self.get_object()
        asked = WaiveSerializer(data=request.data)
        asked.is_valid(raise_exception=True)
        waiver = flag_waive(scope=self.scope, flag=flag, **asked.validated_data)
        return Response(WaiverSerializer(waiver).data, status=201)


class WaiverViewSet(TeamReadViewSet):
    """Waivers, standing and past."""

    write = Can.GOVERN
    queryset = Waiver.objects.select_related("by").order_by("-until", "-pk")
    serializer_class = WaiverSerializer
    filterset_fields = ("flag",)

    @extend_schema(request=None, responses=WaiverSerializer, summary="End a waiver before its day")
    @action(detail=True, methods=["post"])
    def withdraw(self, request: Request, team: str, pk: str) -> Response:
        waiver = waiver_withdraw(scope=self.scope, waiver=self.get_object())
        return Response(WaiverSerializer(waiver).data)
