"""API of duty profiles: a profile is given and taken whole, its phases in their order."""

from __future__ import annotations

from typing import Any, ClassVar

from django.core.exceptions import ValidationError
from rest_framework import serializers

from builds.api.robots import WITH_DELETE
from builds.models import DutyPhase, DutyProfile
from builds.services.duties import MOST_PHASES, PHASE_FIELDS, profile_delete, profile_save
from shared.api import TeamSerializer, TeamViewSet
from shared.records import errors_by_field


class DutyPhaseSerializer(TeamSerializer):
    class Meta:
        model = DutyPhase
        fields = PHASE_FIELDS

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        """What the model refuses is told at the phase it is about."""
        scope = getattr(self.context.get("view"), "scope", None)
        try:
            DutyPhase(team=scope.team if scope else None, place=1, **attrs).full_clean(
                exclude={"team", "profile"}
            )
        except ValidationError as wrong:
            raise serializers.ValidationError(errors_by_field(wrong)) from wrong
        return attrs


class DutyProfileSerializer(TeamSerializer):
    """A profile with its phases; phases that are given replace those on record."""

    phases = DutyPhaseSerializer(many=True, min_length=1, max_length=MOST_PHASES)  # type: ignore[call-arg]  # of the list

    class Meta:
        model = DutyProfile
        fields: ClassVar[tuple[str, ...]] = ("id", "code", "name", "notes", "phases")
        read_only_fields: ClassVar[tuple[str, ...]] = ("id",)


class DutyProfileViewSet(TeamViewSet):
    """Duty profiles; one that circuits follow is not deleted."""

    http_method_names = WITH_DELETE
    queryset = DutyProfile.objects.order_by("code").prefetch_related("phases")
    serializer_class = DutyProfileSerializer
    filterset_fields = ("code",)

    def _write(self, serializer: Any, instance: Any) -> None:
        given = dict(serializer.validated_data)
        phases = given.pop("phases", None)
        for name, value in given.items():
            setattr(instance, name, value)
        rows = None if phases is None else [DutyPhase(**phase) for phase in phases]
        profile_save(scope=self.scope, profile=instance, phases=rows)
        # Read again: the phases fetched before are those that were replaced.
        serializer.instance = self.scope.get(self.queryset, pk=instance.pk)

    def perform_destroy(self, instance: Any) -> None:
        profile_delete(scope=self.scope, profile=instance)
