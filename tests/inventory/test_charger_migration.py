"""Names of chargers become rows and names again, on whatever database the tests run."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from django.apps import apps as django_apps
from django.db import connection
from django.db.migrations.executor import MigrationExecutor

pytestmark = pytest.mark.django_db(transaction=True)

BEFORE = ("inventory", "0004_power_network")
DAY = datetime(2026, 3, 1, 10, tzinfo=UTC)
LONG = "x" * 60


def migrate(*targets: tuple[str, str]) -> Any:
    """The apps as they are at that migration, in the database too."""
    executor = MigrationExecutor(connection)
    plan = executor.migration_plan(list(targets))
    return executor.migrate(list(targets), plan=plan).apps


@pytest.fixture
def leaves() -> Iterator[list[tuple[str, str]]]:
    newest: list[tuple[str, str]] = MigrationExecutor(connection).loader.graph.leaf_nodes()
    yield newest
    migrate(*newest)


def batteries_of(apps: Any, slug: str) -> list[Any]:
    """A team with five batteries."""
    team = apps.get_model("shared", "Team").objects.create(name=slug, slug=slug)
    model = apps.get_model("inventory", "BatteryModel").objects.create(
        team_id=team.pk, kind="battery", code="B18", name="12 V 18 Ah", chemistry="agm", capacity_ah=18
    )
    rows = apps.get_model("inventory", "Battery").objects
    return [
        rows.create(team_id=team.pk, code=f"B{n}", model_id=model.pk, acquired_on=DAY.date())
        for n in range(5)
    ]


def put_on(apps: Any, battery: Any, charger: Any, started_at: datetime, *, is_open: bool) -> None:
    """A charge with its history, whatever a charger is in these apps."""
    given: dict[str, Any] = {
        "team_id": battery.team_id, "battery_id": battery.pk, "started_at": started_at,
        "ended_at": None if is_open else started_at + timedelta(hours=3),
        ("charger" if isinstance(charger, str) else "charger_id"): charger,
    }  # fmt: skip
    made = apps.get_model("inventory", "Charge").objects.create(**given)
    if isinstance(charger, str):  # rows of migrations keep no history by themselves
        apps.get_model("inventory", "HistoricalCharge").objects.create(
            **given, id=made.pk, history_date=DAY, history_type="+", created_at=DAY, updated_at=DAY
        )


def charges(apps: Any, name: str, model: str = "Charge") -> list[str]:
    rows = apps.get_model("inventory", model).objects.order_by("team__slug", "battery__code", "started_at")
    return list(rows.values_list(name, flat=True))


def test_rows_become_names_and_names_rows(leaves: list[tuple[str, str]]) -> None:
    apps = django_apps
    teams = [batteries_of(apps, slug) for slug in ("gull", "tern")]
    for rows in teams:
        chargers = apps.get_model("inventory", "Charger").objects
        for battery, name in zip(rows, ("Left", "Left (2)"), strict=False):
            charger = chargers.create(team_id=battery.team_id, name=name, current_a=6)
            put_on(apps, battery, charger.pk, DAY, is_open=False)

    before = migrate(BEFORE)
    assert (
        charges(before, "charger")
        == charges(before, "charger", "HistoricalCharge")
        == ["Left", "Left (2)"] * 2
    )
    # As it was typed so far: one name with two open charges, and names as long as allowed.
    later = DAY + timedelta(days=1)
    for rows in teams:
        for battery, name, is_open in zip(
            rows, ("Left", "Left", "Left; rear", LONG, LONG), (True, True, False, True, True), strict=True
        ):
            put_on(before, battery, name, later, is_open=is_open)

    after = migrate(*leaves)
    second = f"{'x' * 54} (2)"
    # What is charging on the second output of a charger is on that output, even if it was there already.
    wanted = ["Left", "Left", "Left (2)", "Left (2)", "Left, rear", LONG, second]
    assert charges(after, "charger__name") == wanted * 2
    open_now = after.get_model("inventory", "Charge").objects.filter(ended_at=None)
    # One output charges one battery at a time, and teams keep theirs apart.
    assert open_now.values("charger").distinct().count() == open_now.count() == 8
    assert after.get_model("inventory", "Charger").objects.count() == 10
    assert set(open_now.values_list("purpose", flat=True)) == {"use"}
    kept = after.get_model("inventory", "HistoricalCharge").objects.values_list("charger_id", flat=True)
    assert set(kept) <= set(after.get_model("inventory", "Charger").objects.values_list("pk", flat=True))
    assert None not in kept
