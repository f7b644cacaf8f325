"""Every rule by its code."""

from __future__ import annotations

from compliance.rules import batteries, loads, network, stock
from compliance.rules.base import Rule

RULES: dict[str, type[Rule]] = {
    rule.code: rule for rule in (*loads.RULES, *network.RULES, *batteries.RULES, *stock.RULES)
}


def rule_of(code: str) -> type[Rule]:
    """The rule of that code; raises ``KeyError`` naming the codes there are."""
    if code not in RULES:
        raise KeyError(f"No rule has the code {code!r}. There are: {', '.join(sorted(RULES))}.")
    return RULES[code]
