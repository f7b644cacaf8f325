"""Methods: every rule with its formula, limits, sources and an example worked out live; and the tables."""

from __future__ import annotations

from itertools import groupby
from typing import Any

from django.http import Http404, HttpRequest, HttpResponse

from compliance.models import RulePack, RuleSetting
from compliance.rules.base import Limit, Rule
from compliance.rules.examples import EXAMPLES
from compliance.rules.examples_planning import trend
from compliance.rules.planning_methods import METHODS
from compliance.rules.registry import RULES
from compliance.views.limits import limit_text
from shared.access import Scope
from shared.electrical.tables.ampacity import AMPACITY_TABLES
from shared.electrical.tables.bundles import BUNDLE_TABLES
from shared.electrical.tables.protection import CURVES
from shared.pages import TeamPage

SWEEP_TITLES = {
    "loads": "Undersized parts",
    "batteries": "Ageing batteries",
    "stock": "Stock before the next event",
}


class MethodList(TeamPage):
    nav_key = "methods"

    def get(self, request: HttpRequest, **kwargs: Any) -> HttpResponse:
        context = {
            "sweeps": [
                (SWEEP_TITLES[sweep], list(rules))
                for sweep, rules in groupby(RULES.values(), key=lambda rule: rule.sweep)
            ],
            "rule_count": len(RULES),
            "planning": METHODS.values(),
            "ampacity_tables": AMPACITY_TABLES.values(),
            "bundle_tables": [
                (table, list(zip(table.from_count, table.factors, strict=True)))
                for table in BUNDLE_TABLES.values()
            ],
            "curves": CURVES.values(),
        }
        return self.render("compliance/methods/list.html", context)


class MethodDetail(TeamPage):
    nav_key = "methods"

    def get(self, request: HttpRequest, **kwargs: Any) -> HttpResponse:
        method = METHODS.get(self.kwargs["code"])
        if method is not None:
            context: dict[str, Any] = {
                "method": method,
                "example": method.example(),
                "about": method.example.__doc__,
            }
            return self.render("compliance/methods/planning.html", context)
        rule = RULES.get(self.kwargs["code"])
        if rule is None:
            raise Http404("No such rule.")
        context = {
            "rule": rule,
            "sweep_title": SWEEP_TITLES[rule.sweep],
            "limits": limits_in_force(self.scope, rule),
            "example": EXAMPLES[rule.code](),
            "about": EXAMPLES[rule.code].__doc__,
            "chart": trend() if rule.code == "battery-rise" else None,
        }
        return self.render("compliance/methods/detail.html", context)


def limits_in_force(scope: Scope, rule: type[Rule]) -> list[dict[str, Any]]:
    """Each limit of a rule: its default with the source, and what the team's packs say instead."""
    settings = list(scope.rows(RuleSetting).filter(rule_code=rule.code).select_related("pack"))
    return [
        {"limit": limit, "default": limit_text(limit.default, limit.unit), "others": _others(limit, settings)}
        for limit in rule.limits
    ]


def _others(limit: Limit, settings: list[RuleSetting]) -> list[tuple[RulePack, str]]:
    return [
        (s.pack, limit_text(s.limits[limit.name], limit.unit)) for s in settings if limit.name in s.limits
    ]
