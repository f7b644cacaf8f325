"""Jobs: what runs in the background, when it last went well, and a button to run it now."""

from __future__ import annotations

from typing import Any

from django.http import HttpRequest, HttpResponse, HttpResponseBase
from django.utils import timezone

from shared.access import Can
from shared.models import JobRun
from shared.pages import TeamPage
from shared.runs import TEAM_JOBS, ask_for, job_states, progress, team_runs, under_way

ROWS = 50


class JobList(TeamPage):
    nav_key = "jobs"

    def get(self, request: HttpRequest, **kwargs: Any) -> HttpResponse:
        context = {
            "states": job_states(self.scope),
            "runs": self.page_of(team_runs(self.scope), ROWS),
            "waiting": under_way(self.scope),
            "may_ask": self.scope.can(Can.SUPPLY),
        }
        return self.render("shared/jobs.html", context)


class JobAsk(TeamPage):
    """Run one of the team's jobs now, or all of them when none is named."""

    nav_key = "jobs"
    write = Can.SUPPLY
    http_method_names = ["post"]

    def post(self, request: HttpRequest, **kwargs: Any) -> HttpResponseBase:
        name = request.POST.get("name", "")
        runs = ask_for(scope=self.scope, names=[name] if name else list(TEAM_JOBS))
        self.say(f"{len(runs)} {'run' if len(runs) == 1 else 'runs'} queued.")
        return self.go("job-list")


class JobProgress(TeamPage):
    """How far one run is; the jobs page asks again and again until it ends."""

    def get(self, request: HttpRequest, **kwargs: Any) -> HttpResponseBase:
        run = self.scope.get(JobRun, pk=self.kwargs["pk"])
        if request.headers.get("HX-Request") != "true":
            return self.go("job-list")  # a piece of a page is no page of its own
        context = {"job": progress(run, timezone.now()), "poll_url": self.url("job-progress", pk=run.pk)}
        return self.render("web/_progress.html", context)
