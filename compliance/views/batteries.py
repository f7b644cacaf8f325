"""Batteries: which may go out, how each has aged, and why we say so."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.utils import timezone

from builds.selectors.events import last_outings, outings
from compliance.models import FlagState, SubjectKind
from compliance.rules.base import SEVERITY_ORDER
from compliance.selectors.battery_health import BatteryHealth, battery_health, battery_working
from compliance.selectors.flags import flags_of, flags_open
from inventory.models import Battery, BatteryState, CapacityTest, Charge, Reading
from inventory.selectors.batteries import battery_table, cycles_since_intake
from inventory.selectors.history import history_of
from shared.access import Can
from shared.pages import TeamPage

#: Charges and outings a page shows; the API has all of them.
NEWEST = 12
#: Readings a page shows below the chart.
READINGS = 20

#: How a rule that found nothing is told; what it found is a severity of its own.
QUIET_WORDS = {"pass": "In order", "not judged": "Not judged", "off": "Switched off by the rule pack"}


class BatteryList(TeamPage):
    """Every battery with its last reading, how far it has risen, and what is flagged."""

    nav_key = "batteries"

    def get(self, request: HttpRequest, **kwargs: Any) -> HttpResponse:
        archived = request.GET.get("archived") == "yes"
        table = battery_table(self.scope, archived=archived)
        health = battery_health(self.scope, [row.battery.pk for row in table]) if table else {}
        flags = defaultdict(list)
        for flag in flags_open(self.scope).filter(subject_kind=SubjectKind.BATTERY):
            flags[flag.subject_id].append(flag)
        last_out, now = last_outings(self.scope), timezone.now()
        rows = [
            {
                "row": row,
                "health": health.get(row.battery.pk),
                "flags": flags[row.battery.pk],
                "outing": last_out.get(row.battery.pk),
                "age_d": (now - row.last_reading.taken_at).days if row.last_reading else None,
            }
            for row in table
        ]
        context = {
            "page_obj": self.page_of(rows),
            "count": len(rows),
            "flagged": sum(bool(flags[row.battery.pk]) for row in table),
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
        health = battery_health(self.scope, [battery.pk])[battery.pk]
        flags = flags_of(self.scope, SubjectKind.BATTERY, battery.pk)
        context = {
            "battery": battery,
            "health": health,
            "chart": health.chart(timezone.localdate()),
            "flags": [f for f in flags if f.state == FlagState.OPEN],
            "workings": self.workings(battery),
            "history": history_of(battery),
            "works": self.scope.can(Can.WORK),
            "supplies": self.scope.can(Can.SUPPLY),
            **self.records(battery, health),
        }
        return self.render("compliance/batteries/detail.html", context)

    def workings(self, battery: Battery) -> list[dict[str, Any]]:
        """Every battery rule with what it says, the rules that found something first."""
        rows = [
            {
                "title": rule.title,
                "severity": state if state in SEVERITY_ORDER else "",
                "quiet": QUIET_WORDS.get(state, state),
                "working": working,
            }
            for rule, state, working in battery_working(self.scope, battery)
        ]
        return sorted(rows, key=lambda row: SEVERITY_ORDER.get(str(row["severity"]), len(SEVERITY_ORDER)))

    def records(self, battery: Battery, health: BatteryHealth) -> dict[str, Any]:
        """What was entered about the battery, newest first."""
        readings = self.scope.rows(Reading).filter(battery=battery).select_related("by")
        charges = self.scope.rows(Charge).filter(battery=battery).select_related("by", "charger")
        tests = self.scope.rows(CapacityTest).filter(battery=battery).select_related("by")
        page = self.page_of(readings.order_by("-taken_at", "-pk"), READINGS)
        page.object_list = with_reasons(page.object_list, health)
        return {
            "page_obj": page,
            "charges": charges.order_by("-started_at")[:NEWEST],
            "on_charger": charges.filter(ended_at=None).first(),
            "cycles": battery.cycles_at_intake + cycles_since_intake(self.scope).get(battery.pk, 0),
            "tests": tests.order_by("-tested_at"),
            "outings": outings(self.scope).filter(battery=battery)[:NEWEST],
        }


def with_reasons(readings: Iterable[Reading], health: BatteryHealth) -> list[tuple[Reading, str]]:
    """Each reading with why it was left out of the trend, empty for one that counts."""
    notes = {(p.day, p.value, p.instrument.casefold()): "" if p.counted else p.note for p in health.points}
    return [
        (
            r,
            notes.get(
                (timezone.localdate(r.taken_at), r.resistance_mohm, r.instrument.casefold()), "not judged"
            ),
        )
        for r in readings
    ]
