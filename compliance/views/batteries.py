"""Batteries: which may go out, how each has aged, and why we say so."""

from __future__ import annotations

from typing import Any

from django.http import HttpRequest, HttpResponse
from django.utils import timezone

from builds.selectors.events import last_outings, outings
from compliance.models import FlagState, SubjectKind
from compliance.selectors.flags import flags_of, flags_open
from inventory.models import Battery, BatteryState, CapacityTest, Charge, Reading
from inventory.selectors.batteries import battery_table
from inventory.selectors.history import history_of
from shared.access import Can
from shared.pages import TeamPage
from shared.web.charts import TrendChart, TrendPoint


class BatteryList(TeamPage):
    """Every battery with its last reading, how far it has risen, and what is flagged."""

    nav_key = "batteries"

    def get(self, request: HttpRequest, **kwargs: Any) -> HttpResponse:
        archived = request.GET.get("archived") == "yes"
        table = battery_table(self.scope, archived=archived)
        flags: dict[int, list[Any]] = {}
        for flag in flags_open(self.scope).filter(subject_kind=SubjectKind.BATTERY):
            flags.setdefault(flag.subject_id, []).append(flag)
        last_out = last_outings(self.scope)
        rows = [
            {"row": row, "flags": flags.get(row.battery.pk, []), "outing": last_out.get(row.battery.pk)}
            for row in table
        ]
        context = {
            "page_obj": self.page_of(rows),
            "count": len(rows),
            "flagged": sum(bool(row["flags"]) for row in rows),
            "out_of_service": sum(row.battery.state != BatteryState.IN_SERVICE for row in table),
            "archived": archived,
            "works": self.scope.can(Can.WORK),
        }
        return self.render("compliance/batteries/list.html", context)


class BatteryDetail(TeamPage):
    """One battery: the verdict in words, the trend as a picture, and everything it rests on."""

    nav_key = "batteries"

    def get(self, request: HttpRequest, **kwargs: Any) -> HttpResponse:
        battery = self.scope.get(Battery.objects.select_related("model"), pk=self.kwargs["pk"])
        flags = flags_of(self.scope, SubjectKind.BATTERY, battery.pk)
        readings = self.scope.rows(Reading).filter(battery=battery).select_related("by").order_by("-taken_at")
        charges = self.scope.rows(Charge).filter(battery=battery).select_related("by").order_by("-started_at")
        context = {
            "battery": battery,
            "flags": [f for f in flags if f.state == FlagState.OPEN],
            "chart": chart_of(battery, list(readings)),
            "page_obj": self.page_of(readings),
            "charges": charges[:30],
            "on_charger": charges.filter(ended_at=None).first(),
            "cycles": battery.cycles_at_intake + charges.filter(ended_at__isnull=False).count(),
            "tests": self.scope.rows(CapacityTest)
            .filter(battery=battery)
            .select_related("by")
            .order_by("-tested_at"),
            "outings": outings(self.scope).filter(battery=battery)[:30],
            "history": history_of(battery),
            "works": self.scope.can(Can.WORK),
            "supplies": self.scope.can(Can.SUPPLY),
        }
        return self.render("compliance/batteries/detail.html", context)


def chart_of(battery: Battery, readings: list[Reading]) -> TrendChart:
    """All readings as points."""
    points = [TrendPoint(timezone.localdate(r.taken_at), r.resistance_mohm, r.instrument) for r in readings]
    return TrendChart(
        title=f"Resistance of {battery.code}",
        unit="mΩ",
        points=points,
        today=timezone.localdate(),
        chart_id=f"trend-{battery.pk}",
    )
