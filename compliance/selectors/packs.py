"""Which limits hold for whom: rule packs resolved to one column of values per rule and limit."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import numpy.typing as npt

from compliance.models import RulePack, RuleSetting
from compliance.rules.base import LimitValue, Rule


@dataclass
class PackTable:
    """The packs of some teams. Index 0 stands for the defaults written beside the rules."""

    index: dict[tuple[int, int | None], int] = field(default_factory=dict)
    names: list[str] = field(default_factory=lambda: ["defaults"])
    settings: dict[str, dict[int, RuleSetting]] = field(default_factory=dict)

    @classmethod
    def load(cls, team_ids: Sequence[int]) -> PackTable:
        """Read all packs and settings of the teams in two queries."""
        table = cls()
        number: dict[int, int] = {}
        for pack in RulePack.objects.filter(team_id__in=team_ids).order_by("pk"):
            number[pack.pk] = len(table.names)
            table.index[(pack.team_id, pack.season_id)] = len(table.names)
            table.names.append(pack.name)
        for setting in RuleSetting.objects.filter(pack_id__in=number):
            table.settings.setdefault(setting.rule_code, {})[number[setting.pack_id]] = setting
        return table

    def pack_of(self, team_id: int, season_id: int | None) -> int:
        """The season's pack, else the team's general one, else the defaults."""
        own = self.index.get((team_id, season_id)) if season_id is not None else None
        return own if own is not None else self.index.get((team_id, None), 0)

    def value(self, rule: type[Rule], name: str, pack: int) -> LimitValue:
        limit = rule.limit(name)
        setting = self.settings.get(rule.code, {}).get(pack)
        if setting is None or name not in setting.limits:
            return limit.default
        return limit.read(setting.limits[name])

    def column(self, rule: type[Rule], name: str) -> npt.NDArray[Any]:
        """The limit's value per pack index; index it by each subject's pack to get a column of limits."""
        return np.array([self.value(rule, name, pack) for pack in range(len(self.names))])

    def enabled(self, rule: type[Rule]) -> npt.NDArray[np.bool_]:
        """Per pack index: is the rule switched on?"""
        given = self.settings.get(rule.code, {})
        return np.array([given[p].enabled if p in given else True for p in range(len(self.names))])

    def severity(self, rule: type[Rule], pack: int, found: str) -> str:
        """The severity a pack sets for a rule, else the one found; 'cannot judge' is never renamed."""
        setting = self.settings.get(rule.code, {}).get(pack)
        return setting.severity if setting is not None and setting.severity and found != "unknown" else found

    def source(self, rule: type[Rule], pack: int) -> str:
        """Where the limits come from: the pack's name, or the defaults."""
        setting = self.settings.get(rule.code, {}).get(pack)
        return f"rule pack {self.names[pack]}" if setting is not None and setting.limits else "default limits"
