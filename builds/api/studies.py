"""API of what people ask of a build: solved voltages, the cheapest fix, which battery, current limits, changes."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Any

from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from builds.models import Build
from builds.network import PUSHING
from builds.selectors.studies import (
    batteries_for,
    build_before,
    build_changes,
    cheapest_fix,
    current_limits,
    solved_build,
)
from builds.studies import BatteryStudy, ChangeStudy, FixStudy, LimitStudy, SolvedBuild
from inventory.models import Battery
from shared.access import Scope
from shared.api import value_serializer
from shared.fields import QuantitySerializerField

if TYPE_CHECKING:
    from shared.api import TeamViewSet as _Base
else:
    _Base = object

SolvedBuildSerializer = value_serializer(
    SolvedBuild,
    scenarios="running, push (the heaviest mechanisms at their peak), all",
    circuits="Each feed followed by what it feeds; nodes in the order of the scenarios",
    cannot="Why nothing could be worked out; empty if it could",
)
FixStudySerializer = value_serializer(
    FixStudy,
    fixes="Those that clear the fault first, then by volts gained per copper and per money",
    limit_v="What the target needs; null if nothing says a need",
)
BatteryStudySerializer = value_serializer(
    BatteryStudy,
    rows="Batteries in service, best first: yes, no, or unknown if never measured",
    resistance_limit_mohm="The most a battery may have at this state of charge",
)
LimitStudySerializer = value_serializer(
    LimitStudy, rows="Per mechanism that pushes: none needed, limit, not enough"
)
ChangeStudySerializer = value_serializer(
    ChangeStudy, changes="Circuits added, removed, changed; most effect first"
)


class _Asked(serializers.Serializer[Any]):
    """What may be asked of every study; rows of another team are not found."""

    def team_row(self, model: Any, number: int, word: str) -> Any:
        scope: Scope = self.context["scope"]
        row = scope.rows(model).filter(pk=number).first()
        if row is None:
            raise serializers.ValidationError(f"There is no {word} {number} in this team.")
        return row


class _PushAsk(_Asked):
    push = serializers.IntegerField(
        required=False,
        min_value=0,
        max_value=20,
        help_text=f"How many mechanisms are at their peak at once in a push; left out: {PUSHING}. "
        "The pages take the number in the rule pack of the season",
    )


class BoardAskSerializer(_PushAsk):
    least_board_v = QuantitySerializerField(
        unit="v", required=False, allow_null=True, help_text="Least voltage asked of the distribution board"
    )

    def validate_least_board_v(self, value: float | None) -> float | None:
        if value is not None and not 0.0 < value < 1000.0:
            raise serializers.ValidationError("Ask for a voltage above 0 V, such as 8 V.")
        return value


class ChargedAskSerializer(BoardAskSerializer):
    charge = serializers.IntegerField(
        required=False,
        min_value=1,
        max_value=100,
        source="charge_frac",
        help_text="State of charge of the battery [%]; left out: 100, full. Its resistance stays as when full",
    )

    def validate_charge(self, value: int) -> float:
        return value / 100.0


class StudyQuerySerializer(ChargedAskSerializer):
    battery = serializers.IntegerField(
        required=False, allow_null=True, help_text="Id of a battery; left out: a new one of the build's model"
    )

    def validate_battery(self, value: int | None) -> Battery | None:
        return None if value is None else self.team_row(Battery, value, "battery")


class ChangesQuerySerializer(_PushAsk):
    since = serializers.IntegerField(
        required=False, allow_null=True, help_text="Id of the build to compare with; left out: the one before"
    )

    def validate_since(self, value: int | None) -> Build | None:
        return None if value is None else self.team_row(Build, value, "build")


class StudyActions(_Base):
    """Answers about one build; nothing is written."""

    @extend_schema(parameters=[StudyQuerySerializer], responses=SolvedBuildSerializer, filters=False,
                   summary="Every voltage and current of the robot, solved as one network")  # fmt: skip
    @action(detail=True, methods=["get"])
    def network(self, request: Request, team: str, pk: str) -> Response:
        return self._answer(solved_build, StudyQuerySerializer, SolvedBuildSerializer)

    @extend_schema(parameters=[StudyQuerySerializer], responses=FixStudySerializer, filters=False,
                   summary="Which conductor, one size up, is the cheapest fix")  # fmt: skip
    @action(detail=True, methods=["get"], url_path="cheapest-fix")
    def cheapest_fix(self, request: Request, team: str, pk: str) -> Response:
        return self._answer(cheapest_fix, StudyQuerySerializer, FixStudySerializer)

    @extend_schema(parameters=[ChargedAskSerializer], responses=BatteryStudySerializer, filters=False,
                   summary="Which batteries may still run this build")  # fmt: skip
    @action(detail=True, methods=["get"])
    def batteries(self, request: Request, team: str, pk: str) -> Response:
        return self._answer(batteries_for, ChargedAskSerializer, BatteryStudySerializer)

    @extend_schema(parameters=[StudyQuerySerializer], responses=LimitStudySerializer, filters=False,
                   summary="How much current limit per motor removes the brown-out")  # fmt: skip
    @action(detail=True, methods=["get"], url_path="current-limits")
    def current_limits(self, request: Request, team: str, pk: str) -> Response:
        return self._answer(current_limits, StudyQuerySerializer, LimitStudySerializer)

    @extend_schema(parameters=[ChangesQuerySerializer], responses=ChangeStudySerializer, filters=False,
                   summary="What the change from another build did")  # fmt: skip
    @action(detail=True, methods=["get"])
    def changes(self, request: Request, team: str, pk: str) -> Response:
        build = self.get_object()
        asked = self._asked(ChangesQuerySerializer)
        since = asked.pop("since", None) or build_before(self.scope, build)
        return Response(ChangeStudySerializer(build_changes(self.scope, since, build, **asked)).data)

    def _answer(
        self, study: Callable[..., Any], query: type[_Asked], answer: type[serializers.Serializer[Any]]
    ) -> Response:
        build = self.get_object()  # first: a row of another team is not found, whatever was sent
        return Response(answer(study(self.scope, build, **self._asked(query))).data)

    def _asked(self, query: type[_Asked]) -> dict[str, Any]:
        asked = query(data=self.request.query_params, context={"scope": self.scope})
        asked.is_valid(raise_exception=True)
        return dict(asked.validated_data)
