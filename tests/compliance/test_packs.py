"""Rule packs: a mentor's to change, checked by the rules, carried by the workbook, and heeded by the next sweep."""

from __future__ import annotations

import json
from collections.abc import Sequence
from typing import Any

import pytest

from compliance.models import RulePack, RuleSetting
from compliance.rules.registry import RULES
from compliance.services.packs import (
    pack_delete,
    pack_save,
    setting_checked,
    setting_delete,
    setting_save,
)
from shared.access import Scope
from shared.errors import DomainError, NotAllowed
from shared.models import JobRun, Role
from shared.workbook.problems import WorkbookRefused
from shared.workbook.tables import SourceFile
from shared.workbook.team import apply_plan, export_workbook, plan_import
from tests.inventory.stockroom import make_scope, make_team
from tests.inventory.test_stock_sheets import workbook

pytestmark = pytest.mark.django_db


@pytest.fixture
def scope() -> Scope:
    return make_scope(make_team(), Role.MENTOR)


@pytest.fixture
def pack(scope) -> RulePack:
    return pack_save(scope=scope, pack=RulePack(name="Estuary League", source="Handbook 2026/27"))


def setting(pack: RulePack, code: str = "wire-drop", **values: Any) -> RuleSetting:
    return RuleSetting(pack=pack, rule_code=code, **{"limits": {"critical_frac": 0.02}, **values})


@pytest.mark.parametrize("role", [Role.MEMBER, Role.LEAD, Role.AUDITOR])
def test_only_a_mentor_changes_packs(scope, pack, role):
    other = make_scope(scope.team, role)
    kept = setting_save(scope=scope, setting=setting(pack))
    for act in (
        lambda: pack_save(scope=other, pack=pack),
        lambda: pack_delete(scope=other, pack=pack),
        lambda: setting_save(scope=other, setting=setting(pack, "device-load", limits={})),
        lambda: setting_delete(scope=other, setting=kept),
    ):
        with pytest.raises(NotAllowed):
            act()
    assert RuleSetting.objects.get() == kept


def test_a_change_of_a_pack_sets_off_all_sweeps_and_keeps_its_history(scope, pack):
    JobRun.objects.all().delete()
    kept = setting_save(scope=scope, setting=setting(pack))
    assert set(JobRun.objects.values_list("name", flat=True)) == {
        "sweep.batteries", "sweep.loads", "sweep.stock", "rotation.look",
    }  # fmt: skip
    kept.limits = {"critical_frac": "0.05"}
    setting_save(scope=scope, setting=kept)
    assert RuleSetting.objects.get().limits == {"critical_frac": 0.05}
    assert [h.limits for h in kept.history.order_by("history_id")] == [
        {"critical_frac": 0.02}, {"critical_frac": 0.05},
    ]  # fmt: skip
    setting_delete(scope=scope, setting=kept)
    pack_delete(scope=scope, pack=pack)
    assert not RulePack.objects.exists()


@pytest.mark.parametrize(
    ("code", "limits", "severity", "field", "says"),
    [
        ("no-such-rule", {}, "", "rule_code", "wire-drop"),
        ("wire-drop", {"critical": 0.02}, "", "limits", "no limit called 'critical'"),
        ("wire-drop", {"critical_frac": "thick"}, "", "limits", "write a number in frac"),
        ("wire-drop", {"critical_frac": 7}, "", "limits", "between 0.001 and 1"),
        ("wire-drop", {"critical_frac": float("nan")}, "", "limits", "critical_frac is nan"),
        ("terminal-hole", {"slack_mm": -1}, "", "limits", "slack_mm is -1"),
        ("battery-unjudged", {"stale_after_d": float("inf")}, "", "limits", "a number that ends"),
        ("wire-ampacity", {"table": "guesswork"}, "", "limits", "choose one of 33cfr183"),
        ("device-missing", {"x": 1}, "", "limits", "no limits to set"),
        ("wire-drop", [0.02], "", "limits", "not names with values"),
        ("wire-drop", {}, "unknown", "severity", "cannot judge"),
    ],
)  # fmt: skip
def test_what_a_rule_cannot_take_is_refused_with_what_would_be_right(
    scope, pack, code, limits, severity, field, says
):
    with pytest.raises(DomainError) as refused:
        setting_save(scope=scope, setting=setting(pack, code, limits=limits, severity=severity))
    assert refused.value.field == field
    assert says in refused.value.sentence
    assert not RuleSetting.objects.exists()


def test_all_that_is_wrong_is_said_at_once():
    with pytest.raises(DomainError) as refused:
        setting_checked("wire-drop", {"critical_frac": 7, "other_frac": "x", "third": 1})
    for name in ("critical_frac", "other_frac", "third"):
        assert name in refused.value.message


@pytest.mark.parametrize("code", sorted(RULES))
def test_every_rule_takes_its_own_defaults(code):
    limits = {limit.name: limit.default for limit in RULES[code].limits}
    assert setting_checked(code, limits) == limits


# --- the workbook ---------------------------------------------------------------------------------

PACKS: list[list[Any]] = [["Name", "Season", "Source", "Notes"], ["Estuary League", None, "Handbook", None]]
HEADINGS: list[Any] = ["Pack", "Rule", "Enabled", "Severity", "Limits", "Source"]


def book(*settings: Sequence[object]) -> SourceFile:
    return workbook(Rule_packs=PACKS, Rule_settings=[HEADINGS, *map(list, settings)])


GOOD = (
    ["Estuary League", "wire-drop", "yes", "Stop", '{"critical_frac": "0.02"}', "Team meeting"],
    ["Estuary League", "device-load", "no", None, None, None],
)


def test_a_pack_comes_in_by_file_and_goes_out_the_same(scope):
    plan = plan_import(scope=scope, source=book(*GOOD))
    assert plan.errors == []
    apply_plan(scope=scope, plan=plan)
    kept = {s.rule_code: (s.enabled, s.severity, s.limits) for s in RuleSetting.objects.all()}
    assert kept == {
        "wire-drop": (True, "stop", {"critical_frac": 0.02}), "device-load": (False, "", {}),
    }  # fmt: skip
    assert plan_import(scope=scope, source=book(*GOOD)).changes_nothing
    exported = SourceFile("export.xlsx", export_workbook(scope=scope))
    again = plan_import(scope=scope, source=exported)
    assert again.errors == []
    assert again.changes_nothing


def test_mistakes_in_a_file_are_all_told_in_the_preview(scope):
    plan = plan_import(
        scope=scope,
        source=book(
            ["Estuary League", "no-such-rule", None, None, None, None],
            ["Estuary League", "wire-drop", None, None, json.dumps({"critical_frac": 7}), None],
            ["Estuary League", "device-load", None, "Cannot judge", None, None],
            ["Other League", "device-load", None, None, None, None],
        ),
    )
    assert [error.row for error in plan.errors] == [2, 3, 4, 5]
    for error, says in zip(
        plan.errors, ["no-such-rule", "between 0.001 and 1", "cannot judge", "Other League"], strict=True
    ):
        assert says in error.sentence
    with pytest.raises(WorkbookRefused):
        apply_plan(scope=scope, plan=plan)


def test_a_lead_may_import_but_not_change_a_pack(scope):
    lead = make_scope(scope.team, Role.LEAD)
    plan = plan_import(scope=lead, source=book(*GOOD))
    with pytest.raises(DomainError, match="Rule packs, row 2"):
        apply_plan(scope=lead, plan=plan)
    assert not RulePack.objects.exists()
