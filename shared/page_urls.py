"""Pages of a team that belong to no app: jobs, workbook, members."""

from __future__ import annotations

from django.urls import URLPattern, path

from shared.views.jobs import JobAsk, JobList, JobProgress
from shared.views.team import MemberEdit, MemberList
from shared.views.workbook import Workbook, WorkbookExport, WorkbookImport, WorkbookTemplate

urlpatterns: list[URLPattern] = [
    path("jobs/", JobList.as_view(), name="job-list"),
    path("jobs/run/", JobAsk.as_view(), name="job-run"),
    path("jobs/<int:pk>/", JobProgress.as_view(), name="job-progress"),
    path("workbook/", Workbook.as_view(), name="workbook"),
    path("workbook/import/", WorkbookImport.as_view(), name="workbook-import"),
    path("workbook/export/", WorkbookExport.as_view(), name="workbook-export"),
    path("workbook/template/", WorkbookTemplate.as_view(), name="workbook-template"),
    path("members/", MemberList.as_view(), name="member-list"),
    path("members/<int:pk>/", MemberEdit.as_view(), name="member-edit"),
]
