"""Home: what needs doing before the next event, for the role that reads it."""

from __future__ import annotations

from datetime import date
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.utils import timezone

from compliance.selectors.flags import flag_counts, flags_open
from compliance.selectors.home import battery_board, countdown, is_new, orders_to_place, team_lines
from shared.access import Can
from shared.models import Role
from shared.pages import TeamPage

FLAGS_SHOWN = 8


class TeamHome(TeamPage):
    nav_key = "home"

    def get(self, request: HttpRequest, **kwargs: Any) -> HttpResponse:
        today = timezone.localdate()
        counts = flag_counts(self.scope, today)
        waived = counts.pop("waived")
        context: dict[str, Any] = {
            "today": today,
            "countdown": countdown(self.scope, today),
            "tally": list(counts.items()),
            "open_count": sum(counts.values()),
            "waived_count": waived,
            "flags": list(flags_open(self.scope, today).filter(waived=False)[:FLAGS_SHOWN]),
            "is_new": is_new(self.scope),
            "may_import": self.scope.can(Can.SUPPLY),
            **self.for_role(today),
        }
        return self.render("compliance/home/home.html", context)

    def for_role(self, today: date) -> dict[str, Any]:
        """What only this role starts its day with."""
        role, user = self.scope.role, self.scope.user
        if role == Role.MENTOR and user is not None:
            return {"lines": team_lines(user, today)}
        if role == Role.LEAD:
            return {"orders": orders_to_place(self.scope, today)}
        if role == Role.MEMBER:
            return {"board": battery_board(self.scope, today)}
        return {}
