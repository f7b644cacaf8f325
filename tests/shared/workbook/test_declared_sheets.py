"""The sheets that the apps declare: explained, exemplified, and the template of them reads as nothing."""

from __future__ import annotations

import pytest
from django.apps import apps

from builds.sheets import SHEETS as BUILD_SHEETS
from inventory.sheets import SHEETS as STORE_SHEETS
from shared.models.base import TeamOwned
from shared.workbook.cells_in import Reader
from shared.workbook.declare import registry_from
from shared.workbook.locale import Locale
from shared.workbook.raw import EPOCH_1900
from shared.workbook.spec import SheetSpec
from shared.workbook.tables import SourceFile
from shared.workbook.team import team_registry, template_workbook
from tests.shared.workbook.memory import MemoryStore, plan

REGISTRY = registry_from([STORE_SHEETS, BUILD_SHEETS])


#: Tables of a team that no sheet carries, and why; the page of the workbook says so too.
NO_SHEET = {
    "Flag": "the sweeps find it again",
    "MatchStudy": "simulated again from what the sheets carry",
    "RotationPlan": "planned again from what the sheets carry",
    "RotationStep": "goes with its plan",
    "Waiver": "a mentor answers for it in person, until a day",
}
FILLED_IN = [spec for spec in REGISTRY.specs if not spec.export_only]


@pytest.mark.parametrize("spec", FILLED_IN, ids=lambda spec: spec.name)
def test_every_column_is_explained_and_its_example_can_be_read(spec: SheetSpec) -> None:
    reader = Reader(Locale(), EPOCH_1900)
    for column in spec.columns:
        assert column.explanation, column.field
        assert reader.read(column.example, column) not in (None, "", ()), column.field
    assert len({column.heading for column in spec.columns}) == len(spec.columns)


@pytest.mark.parametrize("form", ["xlsx", "csv"])
def test_the_template_reads_as_nothing(form: str) -> None:
    source = SourceFile(f"template.{form}", template_workbook(form=form, registry=REGISTRY))
    made = plan(source, MemoryStore(), REGISTRY)
    assert made.errors == []
    assert made.changes_nothing
    assert len(made.sheets) == len(FILLED_IN)


def test_every_table_of_a_team_has_a_sheet_or_a_reason_why_not() -> None:
    carried = {spec.model for spec in team_registry().specs}
    left_out = {m.__name__ for m in apps.get_models() if issubclass(m, TeamOwned) and m not in carried}
    assert left_out == set(NO_SHEET)
