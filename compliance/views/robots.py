"""Robots, builds and circuits as the checks see them."""

from __future__ import annotations

from itertools import groupby
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.utils import timezone

from builds.models import Build, Circuit, Robot, Season
from builds.network import Scenario
from builds.selectors.robots import builds_of, events_of
from builds.selectors.studies import solved_build
from compliance.models import Severity, SubjectKind
from compliance.selectors.circuit_path import CASE_LABELS, path_working, stages_to
from compliance.selectors.flags import flags_of
from compliance.selectors.margins import build_verdict, circuit_working
from compliance.selectors.power_pages import pushing_of
from compliance.selectors.robot_pages import fed_path, margin_picture, robot_rows
from compliance.views.build_tabs import build_tabs
from compliance.views.power import charge_in, kept, pk_in
from inventory.models import Battery
from inventory.selectors.history import history_of
from shared.access import Can
from shared.pages import TeamPage


class RobotList(TeamPage):
    nav_key = "robots"

    def get(self, request: HttpRequest, **kwargs: Any) -> HttpResponse:
        archived = request.GET.get("archived") == "yes"
        seasons = list(self.scope.rows(Season).order_by("-starts_on"))
        season = next((s for s in seasons if str(s.pk) == request.GET.get("season")), None)
        rows = robot_rows(self.scope, archived=archived)
        if season:
            rows = [row for row in rows if row.robot.season_id == season.pk]
        context = {
            "rows": rows,
            "seasons": [
                (season, list(group)) for season, group in groupby(rows, key=lambda r: r.robot.season)
            ],
            "stopped": sum(1 for row in rows if row.worst == Severity.STOP),
            "flagged": sum(1 for row in rows if row.flags),
            "archived": archived,
            "all_seasons": seasons,
            "season": season,
            "works": self.scope.can(Can.WORK),
            "supplies": self.scope.can(Can.SUPPLY),
        }
        return self.render("compliance/robots/list.html", context)


class RobotDetail(TeamPage):
    nav_key = "robots"

    def get(self, request: HttpRequest, **kwargs: Any) -> HttpResponse:
        robot = self.scope.get(Robot.objects.select_related("season"), pk=self.kwargs["pk"])
        builds = builds_of(self.scope, robot)
        context = {
            "robot": robot,
            "builds": builds,
            "current": next((b for b in builds if b.state == "current"), None),
            "events": events_of(self.scope, robot),
            "history": history_of(robot),
            "works": self.scope.can(Can.WORK),
            "supplies": self.scope.can(Can.SUPPLY),
            "today": timezone.localdate(),
        }
        return self.render("compliance/robots/robot.html", context)


class BuildDetail(TeamPage):
    """Every circuit of a build, those that matter first."""

    nav_key = "robots"

    def get(self, request: HttpRequest, **kwargs: Any) -> HttpResponse:
        build = self.scope.get(Build.objects.select_related("robot", "battery_model"), pk=self.kwargs["pk"])
        verdict = build_verdict(self.scope, build)
        margins = verdict.margins
        wanted = request.GET.get("state", "")
        urls = [self.url("circuit-detail", pk=m.circuit.pk) for m in margins]
        counts = {state: sum(1 for m in margins if m.state == state) for state in (*Severity.values, "ok")}
        context = {
            "build": build,
            "tabs": build_tabs(self, build),
            "tab_key": "circuits",
            "whole": verdict,
            "margins": [m for m in margins if not wanted or m.state == wanted],
            "count": len(margins),
            "counts": counts,
            "flagged": len(margins) - counts["ok"],
            "wanted": wanted,
            "chart": margin_picture(build, margins, urls),
            "judged": build.state == "current" and not build.robot.archived,
            "history": history_of(build),
            "works": self.scope.can(Can.WORK),
        }
        return self.render("compliance/robots/build.html", context)


class CircuitDetail(TeamPage):
    """One circuit: its figures and the working of every check, passed ones too."""

    nav_key = "robots"

    def get(self, request: HttpRequest, **kwargs: Any) -> HttpResponse:
        related = Circuit.objects.select_related(
            "build__robot", "device", "wire", "component", "terminal_source", "terminal_load", "profile"
        )
        circuit = self.scope.get(related, pk=self.kwargs["pk"])
        checks = circuit_working(self.scope, circuit)
        context = {
            "circuit": circuit,
            "build": circuit.build,
            "path": fed_path(circuit),
            "failing": [c for c in checks if c.state in Severity.values],
            "passed": [c for c in checks if c.state == "ok"],
            "silent": [c for c in checks if c.state not in (*Severity.values, "ok")],
            "flags": flags_of(self.scope, SubjectKind.CIRCUIT, circuit.pk),
            "history": history_of(circuit),
            "works": self.scope.can(Can.WORK),
            **self.solved(circuit),
        }
        return self.render("compliance/robots/circuit.html", context)

    def solved(self, circuit: Circuit) -> dict[str, Any]:
        """The way from the battery to this circuit in the solved robot, with the battery of ?battery= or a new one."""
        wanted = pk_in(self.request.GET, "battery")
        battery = self.scope.get(Battery, pk=wanted) if wanted else None
        charge = charge_in(self.request.GET)
        push = pushing_of(self.scope, circuit.build)
        solved = solved_build(self.scope, circuit.build, battery, push=push, charge_frac=charge / 100.0)
        stages = [] if solved.cannot else stages_to(solved, circuit.pk)
        return {
            "solved": solved,
            "kept": kept(battery, charge),
            "stages": stages,
            "cases": list(zip(solved.scenarios, CASE_LABELS, strict=True)) if stages else [],
            "case_labels": CASE_LABELS,
            "path_working": path_working(solved, stages, Scenario.PUSH) if stages else None,
        }
