"""The power of a build: the robot solved as one circuit, and simulated over matches with every battery."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any
from urllib.parse import urlencode

from django.http import HttpRequest, HttpResponse, HttpResponseBase, QueryDict
from django.utils import timezone

from builds.models import Build, BuildState, Robot
from builds.network import Scenario
from builds.selectors.match_studies import studies_of
from builds.selectors.studies import batteries_for, network_of, solved_build
from builds.services.match_studies import match_studies_ask
from compliance.models import SubjectKind
from compliance.rules.network import RULES as NETWORK_RULES
from compliance.selectors.flags import flags_of
from compliance.selectors.margins import circuit_margins, facts_of
from compliance.selectors.power_drawings import feed_picture, match_picture
from compliance.selectors.power_pages import (
    CartRow,
    assumption_lines,
    cart_rows,
    headline,
    power_rows,
    pushing_of,
    regulated_ids,
    weakest,
)
from compliance.views.build_tabs import build_tabs
from inventory.models import Battery
from shared.access import Can
from shared.pages import TeamPage
from shared.runs import progress

#: What ?case= says for each scenario.
CASES = {"running": Scenario.RUNNING, "push": Scenario.PUSH, "all": Scenario.ALL}
CASE_NAMES = {"running": "Everything runs", "push": "The heaviest push", "all": "Everything peaks"}
AS_NEW = "new"
#: What ?charge= may say, in percent; anything else is a full battery.
FULL = 100
CHARGES = {FULL: "Full", 75: "3/4 (75 %)", 50: "1/2 (50 %)", 25: "1/4 (25 %)"}


def pk_in(given: QueryDict, name: str) -> int:
    """The id a person's request names, 0 for none; what is no number names none."""
    text = given.get(name, "")
    return int(text) if text.isdecimal() else 0


def charge_in(given: QueryDict) -> int:
    """The state of charge a request names, in percent."""
    named = pk_in(given, "charge")
    return named if named in CHARGES else FULL


def kept(battery: Battery | None, charge: int) -> str:
    """The query that takes battery and state of charge to the next page; empty for a new, full one."""
    given = {"battery": battery.pk if battery else 0, "charge": charge if charge != FULL else 0}
    query = urlencode({name: value for name, value in given.items() if value})
    return f"?{query}" if query else ""


class BuildPage(TeamPage):
    """A page about one build: who asks, which build, its tabs, which battery was chosen."""

    nav_key = "robots"
    tab_key = ""

    def build(self) -> Build:
        return self.scope.get(Build.objects.select_related("robot", "battery_model"), pk=self.kwargs["pk"])

    def chosen_battery(self) -> Battery | None:
        """The battery of ?battery=, None for a new one or none named."""
        wanted = pk_in(self.request.GET, "battery")
        return self.scope.get(Battery, pk=wanted) if wanted else None

    @property
    def charge(self) -> int:
        """The state of charge of ?charge=, in percent."""
        return charge_in(self.request.GET)

    @property
    def charge_frac(self) -> float:
        return self.charge / 100.0

    def context(self, build: Build) -> dict[str, Any]:
        return {
            "charge": self.charge,
            "charges": list(CHARGES.items()),
            "full": self.charge == FULL,
            "build": build,
            "tabs": build_tabs(self, build),
            "tab_key": self.tab_key,
            "works": self.scope.can(Can.WORK),
        }


class RobotPower(TeamPage):
    """The power page of the robot's current build; of the newest one while none is current."""

    nav_key = "robots"

    def get(self, request: HttpRequest, **kwargs: Any) -> HttpResponseBase:
        robot = self.scope.get(Robot, pk=self.kwargs["pk"])
        builds = list(self.scope.rows(Build).filter(robot=robot).order_by("-dated", "-pk"))
        if not builds:
            return self.go("robot-detail", pk=robot.pk)
        current = next((build for build in builds if build.state == BuildState.CURRENT), builds[0])
        return self.go("build-power", pk=current.pk)


class BuildPower(BuildPage):
    """How far the board falls and why: tree, margins, every battery, the worst match."""

    tab_key = "power"

    def get(self, request: HttpRequest, **kwargs: Any) -> HttpResponse:
        build = self.build()
        case = CASES.get(request.GET.get("case", ""), Scenario.PUSH)
        facts = facts_of(self.scope, build)
        studies = studies_of(self.scope, build, facts.rows)
        net = network_of(self.scope, build, pushing_of(self.scope, build, facts.table), facts.rows)
        cart = cart_rows(
            batteries_for(self.scope, build, net=net, charge_frac=self.charge_frac), studies.rows
        )
        battery = self.chosen_battery()
        if battery is None and request.GET.get("battery") != AS_NEW:
            worst = weakest(cart)
            battery = self.scope.get(Battery, pk=worst.battery_id) if worst else None
        solved = solved_build(self.scope, build, battery, net=net, charge_frac=self.charge_frac)
        margins = {m.circuit.pk: m for m in circuit_margins(self.scope, build, facts)}
        chosen = next((row for row in cart if row.battery_id == (battery.pk if battery else None)), None)
        context = {
            **self.context(build),
            "solved": solved,
            "case": next(word for word, scenario in CASES.items() if scenario == case),
            "cases": list(CASE_NAMES.items()),
            "battery": battery,
            "kept": kept(battery, self.charge),
            "cart": cart,
            "count": len(margins),
            "flags": flags_of(self.scope, SubjectKind.BUILD, build.pk),
            "methods": NETWORK_RULES,
            "studies": studies,
            "run": studies.run,
            "job": progress(studies.run, timezone.now()) if studies.run else None,
            "assumptions": assumption_lines(solved.assumptions),
            **self.worst_match(build, chosen, regulated_ids(solved)),
        }
        if not solved.cannot:
            # Simulated matches start full: their share says nothing of a battery that does not.
            share = chosen.brownout_frac if chosen and self.charge == FULL else None
            rows = power_rows(solved, case, margins)
            context |= {
                "now": solved.scenarios[case],
                "headline": headline(solved, case, share),
                "telling": [row for row in rows if row.matters],
                "calm": [row for row in rows if not row.matters],
                "tree": feed_picture(build, solved, case, margins, self.branch_url(battery)),
            }
        return self.render("compliance/power/power.html", context)

    def branch_url(self, battery: Battery | None) -> Callable[[int], str]:
        """Where a branch's working is, with the battery the tree was drawn with."""
        tail = kept(battery, self.charge)
        return lambda pk: self.url("circuit-detail", pk=pk) + tail

    def worst_match(self, build: Build, chosen: CartRow | None, regulated: set[int]) -> dict[str, Any]:
        """The worst run with the chosen battery, if it was simulated."""
        if chosen is None or chosen.study is None or chosen.study.study is None:
            return {"outcome": None}
        outcome = chosen.study.study.outcome
        return {
            "outcome": outcome,
            "study": chosen.study,
            "trace": match_picture(build, outcome, chosen.label, regulated),
        }


class MatchAsk(BuildPage):
    """Simulate matches with every battery now, in the background."""

    http_method_names = ["post"]

    def post(self, request: HttpRequest, **kwargs: Any) -> HttpResponseBase:
        build = self.build()
        match_studies_ask(scope=self.scope, build=build)
        self.say("The matches are being simulated; this page shows how far it is.")
        return self.go("build-power", pk=build.pk)
