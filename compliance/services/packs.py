"""Rule packs: changed by a mentor only, and only to values the rules can take."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from typing import Any

from compliance.models import RulePack, RuleSetting, Severity
from compliance.rules.base import LimitValue, Rule
from compliance.rules.registry import rule_of
from shared.access import Can, Scope
from shared.errors import DomainError
from shared.models import JobRun
from shared.records import record_delete, record_save


def pack_save(*, scope: Scope, pack: RulePack, trigger: str = JobRun.Trigger.EDIT) -> RulePack:
    """Save a pack's name, season and source; the sweeps judge anew."""
    return record_save(scope=scope, instance=pack, need=Can.GOVERN, trigger=trigger)


def pack_delete(*, scope: Scope, pack: RulePack) -> None:
    """Delete a pack with its settings: what it judged is judged by the general pack or the defaults again."""
    record_delete(scope=scope, instance=pack, need=Can.GOVERN)


def setting_save(*, scope: Scope, setting: RuleSetting, trigger: str = JobRun.Trigger.EDIT) -> RuleSetting:
    """Save what a pack changes of one rule, after asking the rule whether it can take the values."""
    scope.require(Can.GOVERN)
    setting.limits = setting_checked(setting.rule_code, setting.limits, setting.severity)
    return record_save(scope=scope, instance=setting, need=Can.GOVERN, trigger=trigger)


def setting_delete(*, scope: Scope, setting: RuleSetting) -> None:
    """Let the rule's own limits hold again."""
    record_delete(scope=scope, instance=setting, need=Can.GOVERN)


def setting_checked(code: str, limits: Any, severity: str = "") -> dict[str, LimitValue]:
    """The limits as the rule reads them; ``DomainError`` says everything that is wrong with them, not the first."""
    try:
        rule = rule_of(code)
    except KeyError as error:
        raise DomainError(
            str(error.args[0]), field="rule_code", value=code, remedy="Choose one of these codes"
        ) from None
    if severity == Severity.UNKNOWN:
        raise DomainError(
            "A rule cannot be set to 'cannot judge'", field="severity", value=severity,
            remedy="Choose stop, fix or watch, or leave it empty",
        )  # fmt: skip
    if not isinstance(limits, Mapping):
        raise DomainError(
            "The limits are not names with values", field="limits", value=limits,
            remedy=_known(rule),
        )  # fmt: skip
    return _read_limits(rule, limits)


def _read_limits(rule: type[Rule], limits: Mapping[str, Any]) -> dict[str, LimitValue]:
    read: dict[str, LimitValue] = {}
    wrong: list[str] = []
    for name, given in limits.items():
        try:
            read[name] = _finite(name, rule.limit(name).read(given))
        except KeyError as error:
            wrong.append(str(error.args[0]))
        except ValueError as error:
            wrong.append(str(error))
    if wrong:
        raise DomainError(" ".join(wrong), field="limits", value=dict(limits), remedy=_known(rule))
    return read


def _finite(name: str, value: LimitValue) -> LimitValue:
    if isinstance(value, float) and not math.isfinite(value):
        raise ValueError(f"{name} is {value}; write a number that ends.")
    return value


def _known(rule: type[Rule]) -> str:
    """The rule's limits at their defaults, as they are written."""
    limits = json.dumps({limit.name: limit.default for limit in rule.limits})
    return (
        f"The limits of {rule.code} are, by default, {limits}" if rule.limits else "It has no limits to set"
    )
