"""API of a team that belongs to no app: workbook, jobs, members."""

from __future__ import annotations

from django.urls import URLPattern, URLResolver, include, path
from rest_framework.routers import SimpleRouter

from shared.views.api_team import (
    JobRunViewSet,
    MemberViewSet,
    WorkbookExportApi,
    WorkbookImportApi,
    WorkbookTemplateApi,
)

router = SimpleRouter()
router.register("jobs", JobRunViewSet, basename="api-jobrun")
router.register("members", MemberViewSet, basename="api-membership")
urlpatterns: list[URLPattern | URLResolver] = [
    path("workbook/template/", WorkbookTemplateApi.as_view(), name="api-workbook-template"),
    path("workbook/export/", WorkbookExportApi.as_view(), name="api-workbook-export"),
    path("workbook/import/", WorkbookImportApi.as_view(), name="api-workbook-import"),
    path("", include(router.urls)),
]
