"""Import and export: the template, the team's state as a file, and a file read in after a preview."""

from __future__ import annotations

from typing import Any

from django import forms
from django.http import HttpRequest, HttpResponse, HttpResponseBase
from django.utils import timezone

from shared.access import Can
from shared.errors import DomainError
from shared.pages import TeamPage
from shared.runs import under_way
from shared.workbook.exporter import CSV, XLSX
from shared.workbook.limits import MAX_FILE_BYTES, MAX_ROWS
from shared.workbook.plan import PlanSummary
from shared.workbook.tables import SourceFile
from shared.workbook.team import apply_plan, export_workbook, plan_import, team_registry, template_workbook
from shared.workbook.uploads import drop_upload, keep_upload, kept_upload

TYPES = {
    XLSX: "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
    CSV: "application/zip",
}
ENDINGS = {XLSX: "xlsx", CSV: "zip"}
#: A preview names so many rows of a sheet one by one; the counts are of all.
SHOWN_ROWS = 200


class UploadForm(forms.Form):
    file = forms.FileField(
        label="Workbook",
        help_text="An XLSX workbook, one CSV named after its sheet, or a zip of CSVs. Nothing is changed yet.",
    )


def file_answer(data: bytes, form: str, name: str) -> HttpResponse:
    """A download of a workbook."""
    answer = HttpResponse(data, content_type=TYPES[form])
    answer["Content-Disposition"] = f'attachment; filename="{name}.{ENDINGS[form]}"'
    return answer


def form_asked(request: HttpRequest) -> str:
    """xlsx, or csv where ?form=csv asks for it."""
    return CSV if request.GET.get("form") == CSV else XLSX


class Workbook(TeamPage):
    """What the workbook is, its downloads, and where a file is handed in."""

    nav_key = "workbook"

    def get(self, request: HttpRequest, **kwargs: Any) -> HttpResponse:
        return self.overview(UploadForm())

    def overview(self, form: UploadForm, status: int = 200) -> HttpResponse:
        context = {
            "form": form,
            "may_import": self.scope.can(Can.SUPPLY),
            "sheets": team_registry().specs,
            "most_mb": MAX_FILE_BYTES // 2**20,
            "most_rows": MAX_ROWS,
        }
        return self.render("shared/workbook.html", context, status=status)


class WorkbookTemplate(TeamPage):
    def get(self, request: HttpRequest, **kwargs: Any) -> HttpResponse:
        form = form_asked(request)
        return file_answer(template_workbook(form=form), form, "loadstock-template")


class WorkbookExport(TeamPage):
    def get(self, request: HttpRequest, **kwargs: Any) -> HttpResponse:
        form = form_asked(request)
        day = timezone.localdate()
        return file_answer(
            export_workbook(scope=self.scope, form=form), form, f"{self.scope.team.slug}-{day}"
        )


class WorkbookImport(Workbook):
    """A file is sent, compared and shown; sent again by its token, it is read in. All of it or nothing."""

    write = Can.SUPPLY

    def get(self, request: HttpRequest, **kwargs: Any) -> HttpResponse:
        return self.go("workbook")

    def post(self, request: HttpRequest, **kwargs: Any) -> HttpResponseBase:
        token = request.POST.get("token", "")
        if token:
            return self.agreed(token, request.POST.get("fingerprint", ""))
        form = UploadForm(request.POST, request.FILES)
        if not form.is_valid():
            return self.overview(form, status=422)
        try:
            source = SourceFile.take(form.cleaned_data["file"])
            return self.preview(source, keep_upload(self.scope, source))
        except DomainError as refused:
            form.add_error("file", f"{refused.sentence} Nothing was changed.")
            return self.overview(form, status=422)

    def preview(self, source: SourceFile, token: str, why_again: str = "") -> HttpResponse:
        plan = plan_import(scope=self.scope, source=source)
        if not plan.ok:
            drop_upload(self.scope, token)
        context = {"plan": plan, "token": token, "why_again": why_again, "sheets": _shown(plan)}
        return self.render("shared/workbook_preview.html", context)

    def agreed(self, token: str, fingerprint: str) -> HttpResponse:
        source = kept_upload(self.scope, token)
        plan = plan_import(scope=self.scope, source=source)
        try:
            done = apply_plan(scope=self.scope, plan=plan, fingerprint=fingerprint)
        except DomainError as refused:
            return self.preview(source, token, why_again=refused.sentence)
        drop_upload(self.scope, token)
        context = {"plan": done, "sheets": _shown(done), "queued": under_way(self.scope)}
        return self.render("shared/workbook_done.html", context)


def _shown(plan: PlanSummary) -> list[dict[str, Any]]:
    """The sheets that the file has, with the rows that a page can bear."""
    return [
        {
            "sheet": sheet,
            "added": sheet.added[:SHOWN_ROWS],
            "more_added": max(0, len(sheet.added) - SHOWN_ROWS),
            "changed": sheet.changed[:SHOWN_ROWS],
            "more_changed": max(0, len(sheet.changed) - SHOWN_ROWS),
        }
        for sheet in plan.sheets
        if sheet.added or sheet.changed or sheet.unchanged
    ]
