"""Batteries: which may go out, how each has aged, and why we say so."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.utils import timezone

from builds.selectors.events import last_outings
from compliance.models import FlagState, SubjectKind
from compliance.rules.base import SEVERITY_ORDER
from compliance.rules.battery_verdict import Standing
from compliance.selectors.battery_health import BatteryHealth
from compliance.selectors.battery_life import KINDS, life_of
from compliance.selectors.battery_study import BatteryStudy, battery_fleet, battery_study, may_words
from compliance.selectors.flags import flags_of, flags_open
from inventory.models import Battery, Charge, Reading
from inventory.selectors.batteries import battery_table, cycles_since_intake
from inventory.selectors.history import history_of
from inventory.selectors.incidents import unlooked
from shared.access import Can
from shared.pages import TeamPage

#: Outings a page shows as evidence; the API has all of them.
NEWEST = 12
#: Entries of its life a page shows at first.
LIFE = 15
#: Readings a page shows below the chart.
READINGS = 10

#: How a rule that found nothing is told; what it found is a severity of its own.
QUIET_WORDS = {"pass": "In order", "not judged": "Not judged", "off": "Switched off by the rule pack"}


class BatteryList(TeamPage):
    """Every battery with its verdict, all of them on one scale, and what is flagged."""

    nav_key = "batteries"

    def get(self, request: HttpRequest, **kwargs: Any) -> HttpResponse:
        archived = request.GET.get("archived") == "yes"
        table = battery_table(self.scope, archived=archived)
        told = battery_fleet(self.scope, [row.battery.pk for row in table]) if table else None
        flags = defaultdict(list)
        for flag in flags_open(self.scope).filter(subject_kind=SubjectKind.BATTERY):
            flags[flag.subject_id].append(flag)
        last_out, now = last_outings(self.scope), timezone.now()
        rows = [
            {
                "row": row,
                "health": told.health.get(row.battery.pk) if told else None,
                "verdict": told.verdicts.get(row.battery.pk) if told else None,
                "shape": told.shape(row.battery.pk) if told else "unknown",
                "flags": flags[row.battery.pk],
                "outing": last_out.get(row.battery.pk),
                "age_d": (now - row.last_reading.taken_at).days if row.last_reading else None,
            }
            for row in table
        ]
        context = {
            "page_obj": self.page_of(rows),
            "count": len(rows),
            "told": told,
            "archived": archived,
            "works": self.scope.can(Can.WORK),
        }
        return self.render("compliance/batteries/list.html", context)


class BatteryDetail(TeamPage):
    """One battery: the verdict in words, what it rests on in pictures, and its life in order."""

    nav_key = "batteries"

    def get(self, request: HttpRequest, **kwargs: Any) -> HttpResponse:
        battery = self.scope.get(Battery.objects.select_related("model"), pk=self.kwargs["pk"])
        study = battery_study(self.scope, battery)
        flags = flags_of(self.scope, SubjectKind.BATTERY, battery.pk)
        context = {
            "battery": battery,
            "study": study,
            "may": may_words(study.verdict),
            "others": [reason for reason in study.verdict.reasons if reason.standing != Standing.FIT][1:],
            "flags": [f for f in flags if f.state == FlagState.OPEN],
            "workings": workings(study),
            "history": history_of(battery),
            "open_incidents": unlooked(self.scope, battery),
            "works": self.scope.can(Can.WORK),
            "supplies": self.scope.can(Can.SUPPLY),
            **self.records(battery, study),
            **self.life(battery),
        }
        return self.render("compliance/batteries/detail.html", context)

    def records(self, battery: Battery, study: BatteryStudy) -> dict[str, Any]:
        """The readings, newest first, where it is now, and its cycles."""
        readings = self.scope.rows(Reading).filter(battery=battery).select_related("by")
        page = self.page_of(readings.order_by("-taken_at", "-pk"), READINGS)
        page.object_list = with_reasons(page.object_list, study.health)
        charges = self.scope.rows(Charge).filter(battery=battery).select_related("charger")
        return {
            "page_obj": page,
            "on_charger": charges.filter(ended_at=None).first(),
            "cycles": battery.cycles_at_intake + cycles_since_intake(self.scope).get(battery.pk, 0),
            "outings": study.outings[:NEWEST],
        }

    def life(self, battery: Battery) -> dict[str, Any]:
        """Its life, the latest first, and the filter as links with what is chosen."""
        chosen = self.request.GET.get("life", "")
        chosen = chosen if chosen in KINDS else ""
        entries = life_of(self.scope, battery, [chosen] if chosen else [])
        whole = "all" in self.request.GET.getlist("length")
        return {
            "life": entries if whole else entries[:LIFE],
            "life_more": 0 if whole else max(len(entries) - LIFE, 0),
            "life_kinds": [("", "Everything"), *KINDS.items()],
            "life_chosen": chosen,
        }


def workings(study: BatteryStudy) -> list[dict[str, Any]]:
    """Every battery rule with what it says, the rules that found something first."""
    rows = [
        {
            "title": told.rule.title,
            "code": told.rule.code,
            "severity": told.state if told.state in SEVERITY_ORDER else "",
            "quiet": QUIET_WORDS.get(told.state, told.state),
            "working": told.working,
        }
        for told in study.rules
    ]
    return sorted(rows, key=lambda row: SEVERITY_ORDER.get(str(row["severity"]), len(SEVERITY_ORDER)))


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
