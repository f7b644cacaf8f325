"""API of rules, as they are written, and of the rule packs that set their limits."""

from __future__ import annotations

from typing import Any

from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework import serializers, viewsets
from rest_framework.exceptions import NotFound
from rest_framework.request import Request
from rest_framework.response import Response

from compliance.models import RulePack, RuleSetting
from compliance.rules.examples import EXAMPLES
from compliance.rules.registry import RULES
from compliance.services.packs import pack_delete, pack_save, setting_delete, setting_save
from shared.access import Can, Scope
from shared.api import TeamScoped, TeamViewSet, team_serializer


class SourceSerializer(serializers.Serializer[Any]):
    title = serializers.CharField()
    clause = serializers.CharField()
    status = serializers.CharField(help_text="seen, memory or common practice")


class LimitSerializer(serializers.Serializer[Any]):
    name = serializers.CharField()
    # A number, or the name of a table.
    default = serializers.JSONField()
    unit = serializers.CharField()
    explanation = serializers.CharField()
    choices = serializers.ListField(child=serializers.CharField())
    source = SourceSerializer()  # type: ignore[assignment]  # the name is also one of Field


class RuleSerializer(serializers.Serializer[Any]):
    code = serializers.CharField()
    title = serializers.CharField()
    sweep = serializers.CharField()
    subject = serializers.CharField()
    severity = serializers.CharField(help_text="The most serious it says")
    asks = serializers.CharField()
    formula = serializers.CharField()
    needs = serializers.ListField(child=serializers.CharField())
    remedy = serializers.CharField()
    limits = LimitSerializer(many=True)
    sources = SourceSerializer(many=True)


class RuleDetailSerializer(RuleSerializer):
    example = serializers.SerializerMethodField()

    def get_example(self, rule: Any) -> dict[str, Any]:
        return EXAMPLES[rule.code]()


CODE = OpenApiParameter("code", OpenApiTypes.STR, OpenApiParameter.PATH, description="Code of the rule")


class RuleViewSet(TeamScoped, viewsets.GenericViewSet[Any]):
    """Every rule with formula, limits and sources; one by its code with a worked example."""

    lookup_field = "code"
    serializer_class = RuleSerializer
    filter_backends = ()

    @extend_schema(responses=RuleSerializer(many=True))
    def list(self, request: Request, team: str) -> Response:
        # Rules are classes, not rows, but a list of them is answered like any other.
        page = self.paginate_queryset(list(RULES.values()))
        return self.get_paginated_response(RuleSerializer(page, many=True).data)

    @extend_schema(responses=RuleDetailSerializer, parameters=[CODE])
    def retrieve(self, request: Request, team: str, code: str) -> Response:
        if code not in RULES:
            raise NotFound("No rule has this code.")
        return Response(RuleDetailSerializer(RULES[code]).data)


def _pack_save(*, scope: Scope, instance: RulePack, need: Can) -> RulePack:
    return pack_save(scope=scope, pack=instance)


def _setting_save(*, scope: Scope, instance: RuleSetting, need: Can) -> RuleSetting:
    return setting_save(scope=scope, setting=instance)


METHODS = ["get", "post", "put", "patch", "delete", "head", "options"]


class RulePackViewSet(TeamViewSet):
    """Named sets of limits, for a season or for everything; a mentor's to change."""

    write = need = Can.GOVERN
    http_method_names = METHODS
    queryset = RulePack.objects.order_by("name")
    serializer_class = team_serializer(RulePack, "name", "season", "source", "notes")
    filterset_fields = ("season",)
    save = staticmethod(_pack_save)

    def perform_destroy(self, instance: RulePack) -> None:
        pack_delete(scope=self.scope, pack=instance)


class RuleSettingViewSet(TeamViewSet):
    """What a pack changes of a rule: switched off, another severity, other limits."""

    write = need = Can.GOVERN
    http_method_names = METHODS
    queryset = RuleSetting.objects.order_by("pack__name", "rule_code")
    serializer_class = team_serializer(
        RuleSetting, "pack", "rule_code", "enabled", "severity", "limits", "source"
    )
    filterset_fields = ("pack", "rule_code")
    save = staticmethod(_setting_save)

    def perform_destroy(self, instance: RuleSetting) -> None:
        setting_delete(scope=self.scope, setting=instance)
