"""Storage top-ups: who wants a charge today, and who when."""

from __future__ import annotations

from typing import Any

from django.http import HttpRequest, HttpResponse

from compliance.selectors.top_ups import top_ups
from shared.access import Can
from shared.pages import TeamPage


class TopUpList(TeamPage):
    nav_key = "batteries"

    def get(self, request: HttpRequest, **kwargs: Any) -> HttpResponse:
        context = {"told": top_ups(self.scope), "works": self.scope.can(Can.WORK)}
        return self.render("compliance/batteries/top_ups.html", context)
