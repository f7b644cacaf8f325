"""The workbook's sheets of rule packs and what each changes of a rule."""

from __future__ import annotations

from compliance.models import RulePack, RuleSetting
from compliance.services.packs import pack_save, setting_checked, setting_save
from shared.access import Scope
from shared.errors import DomainError
from shared.models import JobRun
from shared.workbook.declare import col, sheet
from shared.workbook.problems import CellProblem
from shared.workbook.spec import Values


def _write_pack(*, scope: Scope, instance: RulePack, values: Values, created: bool) -> None:
    pack_save(scope=scope, pack=instance, trigger=JobRun.Trigger.IMPORT)


def _write_setting(*, scope: Scope, instance: RuleSetting, values: Values, created: bool) -> None:
    setting_save(scope=scope, setting=instance, trigger=JobRun.Trigger.IMPORT)


def _complete_setting(values: Values) -> None:
    """Ask the rule already in the preview whether it can take the values; an empty cell of limits means none."""
    if "limits" in values and values["limits"] is None:
        values["limits"] = {}
    try:
        read = setting_checked(
            str(values.get("rule_code")), values.get("limits", {}), str(values.get("severity") or "")
        )
    except DomainError as error:
        raise CellProblem(f"{error.message.rstrip('.')}.", f"{error.remedy.rstrip('.')}.") from error
    if "limits" in values:
        values["limits"] = read


RULE_PACKS = sheet(
    "Rule packs",
    RulePack,
    key=("name",),
    writer=_write_pack,
    columns=[
        col("name", explanation="What the pack is called", example="Estuary League 2026/27"),
        col("season", reference="Seasons", example="2026/27"),
        col("source", example="Estuary League handbook, edition 2026/27"),
        col("notes", explanation="Anything worth knowing", example="Agreed at the season's first meeting"),
    ],
    about="Sets of limits for the checks. Only a mentor may change them; without one the defaults hold",
)

RULE_SETTINGS = sheet(
    "Rule settings",
    RuleSetting,
    key=("pack", "rule_code"),
    writer=_write_setting,
    complete=_complete_setting,
    columns=[
        col("pack", reference="Rule packs", explanation="Name of the pack", example="Estuary League 2026/27"),
        col(
            "rule_code",
            heading="Rule",
            explanation="Code of the rule, as on the methods page",
            example="wire-drop",
        ),
        col("enabled", explanation="no switches the rule off", example="yes"),
        col("severity", example="Fix"),
        col("limits", example='{"critical_frac": 0.02}'),
        col("source", explanation="Where these limits come from", example="Team meeting of 2026-10-02"),
    ],
    about="What a rule pack changes of a rule: switched off, another severity, other limits",
)

SHEETS = (RULE_PACKS, RULE_SETTINGS)
