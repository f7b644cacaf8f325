"""API of match studies: what simulated matches say of a build with each battery, and the wish to have it anew."""

from __future__ import annotations

from typing import Any

from django.db.models import QuerySet
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from builds.models import Build, MatchStudy
from builds.selectors.match_studies import studies_listed
from builds.services.match_studies import FEWEST_RUNS, MOST_RUNS, match_studies_ask
from shared.access import Can
from shared.api import TeamReadViewSet
from shared.views.api_team import JobRunSerializer


class MatchStudySerializer(serializers.ModelSerializer[MatchStudy]):
    battery_code = serializers.CharField(source="battery.code", default=None, allow_null=True, read_only=True)
    summary = serializers.DictField(
        read_only=True,
        help_text="Chance of a brown-out with its 95 % interval, runs, lowest board voltage, charge and energy used, "
        "hottest conductor, nearest protective device",
    )

    class Meta:
        model = MatchStudy
        fields: tuple[str, ...] = (
            "id", "build", "battery", "battery_code", "key", "runs", "duration_s", "seed", "computed_at", "summary",
        )  # fmt: skip


class MatchStudyDetailSerializer(MatchStudySerializer):
    outcome = serializers.DictField(
        read_only=True,
        help_text="Everything: levels, lowest board voltage in every short while of the worst run, band over the runs, "
        "contributors, circuits, assumptions",
    )

    class Meta(MatchStudySerializer.Meta):
        fields = (*MatchStudySerializer.Meta.fields, "outcome")


class StudyAskSerializer(serializers.Serializer[Any]):
    build = serializers.IntegerField(help_text="Id of the build")
    runs = serializers.IntegerField(
        required=False,
        min_value=FEWEST_RUNS,
        max_value=MOST_RUNS,
        help_text="Simulated matches per battery; a study with as many or more is not made again",
    )


class MatchStudyViewSet(TeamReadViewSet):
    """Simulated matches, the newest study per build and battery; battery null: a new one of the build's model."""

    queryset = MatchStudy.objects.all()
    filterset_fields = ("build", "battery")
    write = Can.WORK

    def get_queryset(self) -> QuerySet[Any]:
        if getattr(self, "swagger_fake_view", False):
            return MatchStudy.objects.none()
        listed = studies_listed(self.scope)
        return listed if self.action == "list" else listed.defer(None)

    def get_serializer_class(self) -> type[serializers.BaseSerializer[Any]]:
        return MatchStudySerializer if self.action == "list" else MatchStudyDetailSerializer

    @extend_schema(
        request=StudyAskSerializer,
        responses={202: JobRunSerializer},
        summary="Simulate matches of a build with each battery in service, in the background",
    )
    def create(self, request: Request, team: str) -> Response:
        asked = StudyAskSerializer(data=request.data)
        asked.is_valid(raise_exception=True)
        build = self.scope.get(Build, pk=asked.validated_data["build"])
        run = match_studies_ask(scope=self.scope, build=build, runs=asked.validated_data.get("runs"))
        return Response(JobRunSerializer(run).data, status=202)
