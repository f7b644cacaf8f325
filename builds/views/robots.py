"""Seasons, robots and builds as they are entered; the pages that judge them live in compliance."""

from __future__ import annotations

from typing import Any, cast

from django.core.exceptions import ValidationError
from django.forms import ModelForm
from django.http import HttpRequest, HttpResponse, HttpResponseBase, HttpResponseRedirect
from django.utils import timezone

from builds.forms.robots import BuildCopyForm
from builds.models import Build, Robot, Season
from builds.services.builds import build_copy, build_make_current
from shared.access import Can
from shared.errors import DomainError, NotAllowed
from shared.models import TeamOwned
from shared.pages import ArchivePage, RowFormPage, TeamPage, show_refusal


class RobotsForm(RowFormPage):
    nav_key = "robots"
    template = "builds/form.html"
    list_url = "robot-list"


class SeasonPage(RobotsForm):
    """A season; which one is on is for the logistics lead or a mentor to say."""

    model = Season
    fields = ("name", "starts_on", "ends_on", "match_s")
    read = need = write = Can.SUPPLY


class RobotPage(RobotsForm):
    model = Robot
    fields = ("code", "name", "season", "notes")

    def after_url(self, row: TeamOwned) -> str:
        return self.url("robot-detail", pk=row.pk)

    def initial(self) -> dict[str, Any]:
        today = timezone.localdate()
        on = self.scope.rows(Season).filter(starts_on__lte=today, ends_on__gte=today).first()
        return {"season": on} if on else {}

    def context(self, form: ModelForm[Any], row: TeamOwned) -> dict[str, Any]:
        hint = "" if row.pk or self.scope.rows(Season).exists() else self.url("season-new")
        back = self.url("robot-detail", pk=row.pk) if row.pk else self.url("robot-list")
        return {**super().context(form, row), "season_url": hint, "back_url": back}


class RobotArchive(ArchivePage):
    nav_key = "robots"
    model = Robot
    list_url = "robot-list"


class BuildPage(RobotsForm):
    model = Build
    fields = ("label", "dated", "battery_model", "ambient_c", "source_mohm", "notes")

    def after_url(self, row: TeamOwned) -> str:
        return self.url("build-detail", pk=row.pk)

    def context(self, form: ModelForm[Any], row: TeamOwned) -> dict[str, Any]:
        build = cast(Build, row)
        title = f"Edit {build}" if build.pk else f"New build of {build.robot}"
        back = self.after_url(build) if build.pk else self.url("robot-detail", pk=build.robot_id)
        return {**super().context(form, row), "title": title, "back_url": back, "caution": "fault"}


class BuildNew(BuildPage):
    def instance(self) -> TeamOwned:
        robot = self.scope.get(Robot, pk=self.kwargs["pk"])
        return Build(team=self.scope.team, robot=robot, dated=timezone.localdate())


class BuildEdit(BuildPage):
    def instance(self) -> TeamOwned:
        return self.scope.get(Build.objects.select_related("robot"), pk=self.kwargs["pk"])


class BuildCopy(TeamPage):
    """A new draft that starts as a copy: circuits, what feeds them, further parts."""

    nav_key = "robots"
    read = Can.WORK

    def get(self, request: HttpRequest, **kwargs: Any) -> HttpResponse:
        return self.show(self.build(), BuildCopyForm(initial={"dated": timezone.localdate()}))

    def build(self) -> Build:
        return self.scope.get(Build.objects.select_related("robot"), pk=self.kwargs["pk"])

    def show(self, build: Build, form: BuildCopyForm, status: int = 200) -> HttpResponse:
        context = {
            "form": form,
            "title": f"New build from {build}",
            "lead": "It starts as a draft with the same circuits and further parts; the old build stays as it is.",
            "back_url": self.url("build-detail", pk=build.pk),
            "submit": "Start the draft",
        }
        return self.render("builds/form.html", context, status=status)

    def post(self, request: HttpRequest, **kwargs: Any) -> HttpResponseBase:
        build = self.build()
        form = BuildCopyForm(request.POST)
        if form.is_valid():
            try:
                made = build_copy(scope=self.scope, build=build, **form.cleaned_data)
            except NotAllowed:
                raise
            except (DomainError, ValidationError) as refused:
                show_refusal(form, refused)
            else:
                self.say(f"{made} started as a draft.")
                return self.go("build-detail", pk=made.pk)
        return self.show(build, form, status=422)


class BuildCurrent(TeamPage):
    """Make a build the one its robot runs with."""

    nav_key = "robots"
    http_method_names = ["post"]

    def post(self, request: HttpRequest, **kwargs: Any) -> HttpResponseRedirect:
        build = self.scope.get(Build, pk=self.kwargs["pk"])
        made = build_make_current(scope=self.scope, build=build)
        self.say(f"{made} is the current build now; the sweeps judge it.")
        return self.go("build-detail", pk=made.pk)
