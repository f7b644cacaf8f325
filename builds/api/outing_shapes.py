"""What the API takes and gives of outings."""

from __future__ import annotations

from typing import Any, ClassVar

from rest_framework import serializers

from builds.models import Match, Outing, Robot
from inventory.models import Battery
from shared.api import ScopedSerializer, TeamSerializer
from shared.fields import QuantitySerializerField


class OutingSerializer(TeamSerializer):
    """A battery that went out; ``started_at`` left out means just now."""

    although_out_of_service = serializers.BooleanField(
        write_only=True, required=False, help_text="It has been out already, although it is not in service"
    )

    class Meta:
        model = Outing
        fields: ClassVar[tuple[str, ...]] = (
            "id",
            "battery",
            "robot",
            "match",
            "started_at",
            "in_robot",
            "ended_at",
            "start_rest_v",
            "end_rest_v",
            "lowest_v",
            "used_ah",
            "by",
            "note",
            "although_out_of_service",
        )
        read_only_fields: ClassVar[tuple[str, ...]] = ("by", "in_robot", "ended_at")
        extra_kwargs = {"started_at": {"required": False}}


class OutingChangeSerializer(OutingSerializer):
    """What may be added or mended afterwards; which battery went where stays as it was logged."""

    although_out_of_service = None  # type: ignore[assignment]  # taken out of the fields, as DRF has it

    class Meta(OutingSerializer.Meta):
        fields = OutingSerializer.Meta.fields[:-1]
        read_only_fields = ("by", "battery", "robot", "match", "started_at", "in_robot", "ended_at")


class OutingStartSerializer(ScopedSerializer):
    """A battery goes into a robot, for a match or for practice."""

    battery = serializers.PrimaryKeyRelatedField(queryset=Battery.objects.all())
    match = serializers.PrimaryKeyRelatedField(
        queryset=Match.objects.select_related("robot", "event"), required=False, allow_null=True
    )
    robot = serializers.PrimaryKeyRelatedField(
        queryset=Robot.objects.all(), required=False, allow_null=True, help_text="A match knows its robot"
    )
    start_rest_v = QuantitySerializerField(unit="v", required=False, allow_null=True)
    started_at = serializers.DateTimeField(required=False, help_text="Left out: just now")
    note = serializers.CharField(max_length=200, required=False, allow_blank=True)
    although_out_of_service = serializers.BooleanField(required=False)


class OutingEndSerializer(ScopedSerializer):
    """What is known of a battery that came out; the rest may follow by the same call."""

    end_rest_v = QuantitySerializerField(unit="v", required=False, allow_null=True)
    lowest_v = QuantitySerializerField(unit="v", required=False, allow_null=True)
    used_ah = QuantitySerializerField(unit="ah", required=False, allow_null=True)
    ended_at = serializers.DateTimeField(required=False, help_text="Left out: just now")


class OutingEndOfSerializer(OutingEndSerializer):
    """The same, of the battery in a robot or of a battery wherever it is."""

    robot = serializers.PrimaryKeyRelatedField(queryset=Robot.objects.all(), required=False)
    battery = serializers.PrimaryKeyRelatedField(queryset=Battery.objects.all(), required=False)

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        if not attrs.keys() & {"robot", "battery"}:
            raise serializers.ValidationError({"battery": "Name the battery, or the robot it was in."})
        return attrs
