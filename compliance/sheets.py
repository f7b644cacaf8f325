"""The workbook's sheets of rule packs and what each changes of a rule."""

from __future__ import annotations

from compliance.models import RulePack, RuleSetting
from shared.access import Can, Scope
from shared.models import JobRun
from shared.records import record_save
from shared.workbook.declare import col, sheet
from shared.workbook.problems import CellProblem
from shared.workbook.spec import Values


def _write_pack(*, scope: Scope, instance: RulePack, values: Values, created: bool) -> None:
    record_save(scope=scope, instance=instance, need=Can.GOVERN, trigger=JobRun.Trigger.IMPORT)


def _write_setting(*, scope: Scope, instance: RuleSetting, values: Values, created: bool) -> None:
    record_save(scope=scope, instance=instance, need=Can.GOVERN, trigger=JobRun.Trigger.IMPORT)


def _complete_setting(values: Values) -> None:
    """An empty cell of limits means none; anything else is a list of names with their values."""
    if "limits" not in values:
        return
    values["limits"] = {} if values["limits"] is None else values["limits"]
    if not isinstance(values["limits"], dict):
        raise CellProblem("The limits are not names with values.", 'Write them as {"name": 3.5}.')


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
            example="drop-critical",
        ),
        col("enabled", explanation="no switches the rule off", example="yes"),
        col("severity", example="Fix"),
        col("limits", example='{"limit_frac": 0.05}'),
        col("source", explanation="Where these limits come from", example="Team meeting of 2026-10-02"),
    ],
    about="What a rule pack changes of a rule: switched off, another severity, other limits",
)

SHEETS = (RULE_PACKS, RULE_SETTINGS)
