"""Home: what needs doing before the next event, for the role that reads it."""

from __future__ import annotations

from typing import Any

from django.http import HttpRequest, HttpResponse

from shared.pages import TeamPage


class TeamHome(TeamPage):
    nav_key = "home"

    def get(self, request: HttpRequest, **kwargs: Any) -> HttpResponse:
        return self.render("compliance/home/home.html", {})
