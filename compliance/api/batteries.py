"""API of the verdicts on batteries: may each go out, and what says so."""

from __future__ import annotations

from typing import Any

from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from compliance.rules.battery_verdict import Standing
from compliance.selectors.battery_health import verdicts
from shared.api import TeamScoped


class ReasonSerializer(serializers.Serializer[Any]):
    """One thing that speaks of a battery."""

    state = serializers.CharField(source="standing", read_only=True)
    rule_code = serializers.CharField(source="rule.code", default=None, allow_null=True, read_only=True)
    sentence = serializers.CharField(read_only=True)
    working = serializers.DictField(read_only=True, help_text="Steps, limit, conclusion, source")


class BatteryHealthVerdictSerializer(serializers.Serializer[Any]):
    """The verdict on one battery, the gravest reason first."""

    battery = serializers.IntegerField(source="battery_id", read_only=True)
    code = serializers.CharField(read_only=True)
    state = serializers.ChoiceField(
        choices=[(s.value, s.word) for s in Standing], read_only=True, help_text="The gravest comes first"
    )
    word = serializers.CharField(read_only=True)
    sentence = serializers.CharField(read_only=True)
    settles = serializers.CharField(read_only=True, help_text="The reading that would settle a doubt")
    may_match = serializers.BooleanField(read_only=True)
    may_practice = serializers.BooleanField(read_only=True)
    reasons = ReasonSerializer(many=True, read_only=True)


class BatteryVerdictList(TeamScoped):
    """Every battery that is not archived, by its code."""

    @extend_schema(
        responses=BatteryHealthVerdictSerializer(many=True), summary="How each battery is, and may it go out"
    )
    def get(self, request: Request, team: str) -> Response:
        told = sorted(verdicts(self.scope).values(), key=lambda verdict: verdict.code)
        return Response(BatteryHealthVerdictSerializer(told, many=True).data)
