"""The bill of materials of a build, and the further parts on it."""

from __future__ import annotations

from typing import Any, cast

from django.forms import ModelForm
from django.http import HttpRequest, HttpResponse, HttpResponseBase

from builds.models import Build, BuildLine
from builds.selectors.stores import build_bill
from shared.access import Can
from shared.models import TeamOwned
from shared.pages import RowFormPage, TeamPage
from shared.records import record_delete


class BillPage(TeamPage):
    nav_key = "robots"

    def get(self, request: HttpRequest, **kwargs: Any) -> HttpResponse:
        build = self.scope.get(Build.objects.select_related("robot"), pk=self.kwargs["pk"])
        bill = build_bill(self.scope, build)
        only = request.GET.get("only", "")
        shown = {"lacking": bill.lacking, "short": bill.short}.get(only, list(bill.rows))
        here = self.url("bill", pk=build.pk)
        context = {
            "build": build,
            "bill": bill,
            "rows": shown,
            "lines": self.scope.rows(BuildLine).filter(build=build).select_related("part"),
            "tabs": [
                ("All parts", here, "", len(bill.rows)),
                ("Lacking on the robot", f"{here}?only=lacking", "lacking", len(bill.lacking)),
                ("Short in the stores", f"{here}?only=short", "short", len(bill.short)),
            ],
            "tab_key": only,
            "works": self.scope.can(Can.WORK),
        }
        return self.render("builds/bill.html", context)


class LinePage(RowFormPage):
    """A part the build needs besides what its circuits imply."""

    nav_key = "robots"
    model = BuildLine
    fields = ("part", "quantity", "installed", "note")
    template = "builds/form.html"

    def after_url(self, row: TeamOwned) -> str:
        return self.url("bill", pk=cast(BuildLine, row).build_id)

    def context(self, form: ModelForm[Any], row: TeamOwned) -> dict[str, Any]:
        line = cast(BuildLine, row)
        title = f"Edit {line.part.code} of {line.build}" if line.pk else f"Further part of {line.build}"
        words = {
            "title": title,
            "back_url": self.after_url(line),
            "delete_url": self.url("line-delete", pk=line.pk) if line.pk else "",
        }
        return {**super().context(form, row), **words}


class LineNew(LinePage):
    def instance(self) -> TeamOwned:
        build = self.scope.get(Build.objects.select_related("robot"), pk=self.kwargs["pk"])
        return BuildLine(team=self.scope.team, build=build)


class LineEdit(LinePage):
    def instance(self) -> TeamOwned:
        rows = BuildLine.objects.select_related("build__robot", "part")
        return self.scope.get(rows, pk=self.kwargs["pk"])


class LineDelete(TeamPage):
    nav_key = "robots"
    read = Can.WORK

    def line(self) -> BuildLine:
        rows = BuildLine.objects.select_related("build__robot", "part")
        return self.scope.get(rows, pk=self.kwargs["pk"])

    def get(self, request: HttpRequest, **kwargs: Any) -> HttpResponse:
        line = self.line()
        context = {
            "question": f"Take {line.part} off the list of {line.build}?",
            "consequence": "Only this further part; what circuits ask for stays. Its history stays.",
            "confirm_label": "Take it off",
            "cancel_url": self.url("bill", pk=line.build_id),
            "danger": True,
        }
        return self.render("web/_confirm.html", context)

    def post(self, request: HttpRequest, **kwargs: Any) -> HttpResponseBase:
        line = self.line()
        build_id, name = line.build_id, line.part.code
        record_delete(scope=self.scope, instance=line)
        self.say(f"{name} taken off the list.")
        return self.go("bill", pk=build_id)
