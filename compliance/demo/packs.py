"""The rule pack of the invented league, which asks a little more than the defaults."""

from __future__ import annotations

from builds.models import Season
from compliance.demo.rows import put_many
from compliance.models import RulePack, RuleSetting
from shared.access import Scope

LEAGUE = "Estuary League"
#: rule -> the limits that differ from the defaults.
LIMITS: dict[str, dict[str, float]] = {"wire-drop": {"other_frac": 0.08}, "stock-short": {"soon_days": 2}}


def make_packs(scope: Scope, seasons: list[Season]) -> None:
    """One pack for this season's robots, and one for what outlives a season."""
    source = f"{LEAGUE} rules, invented for the demo"
    packs = put_many(
        scope,
        [
            RulePack(team=scope.team, name=f"{LEAGUE}, this season", season=seasons[-1], source=source),
            RulePack(team=scope.team, name=f"{LEAGUE}, in general", source=source),
        ],
    )
    put_many(
        scope,
        [
            RuleSetting(team=scope.team, pack=packs[i], rule_code=code, limits=LIMITS[code], source=source)
            for i, code in enumerate(LIMITS)
        ],
    )
