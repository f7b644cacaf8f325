"""The load rules' limits as rule packs set them; a value that cannot be used is passed over, and said so.

One team's broken value must not stop the sweep of all teams: packs are checked when they are saved, but rows also come
from the admin, from older versions and from restored files.
"""

from __future__ import annotations

from compliance.rules.base import LimitValue, Rule
from compliance.selectors.packs import PackTable


def limits_by_pack(table: PackTable, rule: type[Rule], name: str) -> list[LimitValue]:
    """The limit per pack number; the default where the pack's value cannot be used."""
    return [_read(table, rule, name, pack)[0] for pack in range(len(table.names))]


def limits_source(table: PackTable, rule: type[Rule], pack: int) -> str:
    """Whose limits these are, with what is wrong with those passed over."""
    problems = [problem for limit in rule.limits if (problem := _read(table, rule, limit.name, pack)[1])]
    source = table.source(rule, pack)
    return f"{source} (passed over: {' '.join(problems)})" if problems else source


def _read(table: PackTable, rule: type[Rule], name: str, pack: int) -> tuple[LimitValue, str]:
    try:
        return table.value(rule, name, pack), ""
    except ValueError as exc:
        return rule.limit(name).default, str(exc)
