"""API of what belongs to no app: workbook, jobs, members."""

from __future__ import annotations

from typing import Any

from django.db.models import QuerySet
from django.http import HttpResponse
from django.utils import timezone
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework import mixins, serializers, viewsets
from rest_framework.parsers import MultiPartParser
from rest_framework.request import Request
from rest_framework.response import Response

from shared.access import Can
from shared.api import TeamScoped
from shared.members import member_add, member_remove, member_set_role, members
from shared.models import JobRun, Membership, Role
from shared.runs import TEAM_JOBS, ask_for, team_runs
from shared.views.workbook import file_answer, form_asked
from shared.workbook.tables import SourceFile
from shared.workbook.team import apply_plan, export_workbook, plan_import, template_workbook

FORM = OpenApiParameter("form", str, enum=["xlsx", "csv"], description="xlsx, or csv for a zip of CSVs")
FILE = {(200, "application/octet-stream"): OpenApiTypes.BINARY}


class WorkbookTemplateApi(TeamScoped):
    @extend_schema(parameters=[FORM], responses=FILE, summary="The empty workbook, each column explained")
    def get(self, request: Request, team: str) -> HttpResponse:
        form = form_asked(request)
        return file_answer(template_workbook(form=form), form, "loadstock-template")


class WorkbookExportApi(TeamScoped):
    @extend_schema(parameters=[FORM], responses=FILE, summary="The team's whole state as a workbook")
    def get(self, request: Request, team: str) -> HttpResponse:
        form, day = form_asked(request), timezone.localdate()
        return file_answer(
            export_workbook(scope=self.scope, form=form), form, f"{self.scope.team.slug}-{day}"
        )


class ImportSerializer(serializers.Serializer[Any]):
    file = serializers.FileField(help_text="XLSX, one CSV, or a zip of CSVs")
    dry_run = serializers.BooleanField(default=True, help_text="true: only the preview; nothing is changed")
    fingerprint = serializers.CharField(
        required=False, help_text="Of the preview agreed to; refused when the data changed since"
    )


class WorkbookImportApi(TeamScoped):
    """A preview unless ``dry_run`` is false; a file with errors changes nothing and answers 422."""

    write = Can.SUPPLY
    parser_classes = (MultiPartParser,)

    @extend_schema(
        request={"multipart/form-data": ImportSerializer},
        responses={200: OpenApiTypes.OBJECT, 422: OpenApiTypes.OBJECT},
        summary="Preview or import a workbook",
    )
    def post(self, request: Request, team: str) -> Response:
        asked = ImportSerializer(data=request.data)
        asked.is_valid(raise_exception=True)
        given = asked.validated_data
        plan = plan_import(scope=self.scope, source=SourceFile.take(given["file"]))
        if not plan.ok:
            return Response({**plan.as_dict(), "applied": False}, status=422)
        if given["dry_run"]:
            return Response({**plan.as_dict(), "applied": False})
        done = apply_plan(scope=self.scope, plan=plan, fingerprint=given.get("fingerprint"))
        return Response({**done.as_dict(), "applied": True})


class JobRunSerializer(serializers.ModelSerializer[JobRun]):
    duration_s = serializers.FloatField(read_only=True, allow_null=True)
    every_team = serializers.SerializerMethodField()

    class Meta:
        model = JobRun
        fields = (
            "id", "name", "every_team", "state", "trigger", "asked_at", "started_at", "finished_at",
            "duration_s", "attempts", "progress_frac", "counts", "error",
        )  # fmt: skip

    def get_every_team(self, run: JobRun) -> bool:
        return run.team_id is None


class JobAskSerializer(serializers.Serializer[Any]):
    name = serializers.ChoiceField(choices=sorted(TEAM_JOBS), required=False, help_text="Empty: all of them")


class JobRunViewSet(
    TeamScoped, mixins.ListModelMixin, mixins.RetrieveModelMixin, viewsets.GenericViewSet[JobRun]
):
    """Runs that looked at this team; a POST asks for one now."""

    write = Can.SUPPLY
    queryset = JobRun.objects.all()
    serializer_class = JobRunSerializer
    filterset_fields = ("name", "state", "trigger")

    def get_queryset(self) -> QuerySet[JobRun]:
        if getattr(self, "swagger_fake_view", False):
            return JobRun.objects.none()
        return team_runs(self.scope)

    @extend_schema(request=JobAskSerializer, responses={202: JobRunSerializer(many=True)}, summary="Run now")
    def create(self, request: Request, team: str) -> Response:
        asked = JobAskSerializer(data=request.data)
        asked.is_valid(raise_exception=True)
        name = asked.validated_data.get("name")
        runs = ask_for(scope=self.scope, names=[name] if name else list(TEAM_JOBS))
        return Response(JobRunSerializer(runs, many=True).data, status=202)


class MemberSerializer(serializers.ModelSerializer[Membership]):
    username = serializers.CharField(source="user.username", read_only=True)
    name = serializers.CharField(source="user.display_name", read_only=True)

    class Meta:
        model = Membership
        fields = ("id", "username", "name", "role")


class MemberAddSerializer(serializers.Serializer[Any]):
    username = serializers.CharField(max_length=150)
    role = serializers.ChoiceField(choices=Role.choices)
    full_name = serializers.CharField(max_length=150, required=False, default="", allow_blank=True)
    password = serializers.CharField(required=False, default="", help_text="Only for a new sign-in")


class MemberRoleSerializer(serializers.Serializer[Any]):
    role = serializers.ChoiceField(choices=Role.choices)


class MemberViewSet(
    TeamScoped, mixins.ListModelMixin, mixins.RetrieveModelMixin, viewsets.GenericViewSet[Membership]
):
    """The team's people; a mentor adds, changes roles and removes."""

    write = Can.GOVERN
    queryset = Membership.objects.all()
    serializer_class = MemberSerializer
    filterset_fields = ("role",)

    def get_queryset(self) -> QuerySet[Membership]:
        if getattr(self, "swagger_fake_view", False):
            return Membership.objects.none()
        return members(self.scope)

    @extend_schema(request=MemberAddSerializer, responses={201: MemberSerializer})
    def create(self, request: Request, team: str) -> Response:
        asked = MemberAddSerializer(data=request.data)
        asked.is_valid(raise_exception=True)
        made = member_add(scope=self.scope, **asked.validated_data)
        return Response(MemberSerializer(made).data, status=201)

    @extend_schema(request=MemberRoleSerializer, responses=MemberSerializer)
    def partial_update(self, request: Request, team: str, pk: str) -> Response:
        member = self.get_object()  # first: nobody learns from a refusal that another team has such a row
        asked = MemberRoleSerializer(data=request.data)
        asked.is_valid(raise_exception=True)
        member = member_set_role(scope=self.scope, member=member, **asked.validated_data)
        return Response(MemberSerializer(member).data)

    def destroy(self, request: Request, team: str, pk: str) -> Response:
        member_remove(scope=self.scope, member=self.get_object())
        return Response(status=204)
