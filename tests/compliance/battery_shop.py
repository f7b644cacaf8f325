"""Batteries for tests: readings on given days before a fixed today."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, date, datetime, timedelta
from typing import Any

from compliance.models import RulePack, RuleSetting
from compliance.rules.base import Finding
from compliance.sweeps.batteries import findings
from inventory.models import Battery, BatteryModel, CapacityTest, Reading
from shared.models import Team
from tests.inventory.stockroom import make_team

NOW = datetime(2026, 11, 25, 12, 0, tzinfo=UTC)
#: Rises by 16.2 / 12.1 - 1 = 33.9 %; of its 15 pairs every one rises, so p = 1/720.
RISING = (12.0, 12.1, 12.4, 15.0, 16.2, 17.0)
FLAT = (12.0, 12.1, 12.0, 12.1, 12.0, 12.1)


def make_model(team: Team, **values: Any) -> BatteryModel:
    given = {
        "code": "AGM18",
        "name": "AGM 18 Ah",
        "chemistry": "agm",
        "capacity_ah": 18.0,
        "end_v": 10.5,
        **values,
    }
    model = BatteryModel(team=team, **given)
    model.full_clean()
    model.save()
    return model


def make_battery(team: Team, code: str = "B01", **values: Any) -> Battery:
    model = values.pop("model", None) or BatteryModel.objects.filter(team=team).first() or make_model(team)
    given = {"acquired_on": date(2025, 6, 1), "cycles_at_intake": 10, **values}
    return Battery.objects.create(team=team, code=code, model=model, **given)


def read(
    battery: Battery, mohm: Sequence[float], *, last: int = 5, apart: int = 20, **values: Any
) -> list[Reading]:
    """Readings ``apart`` days apart, the newest ``last`` days ago, as bulk rows."""
    given = {
        "method": "ac1k",
        "instrument": "Bench 1",
        "rest_v": 12.9,
        "rest_h": 8.0,
        "temperature_c": 21.0,
        **values,
    }
    days = [last + apart * i for i in reversed(range(len(mohm)))]
    rows = [
        Reading(
            team=battery.team, battery=battery, taken_at=NOW - timedelta(days=d), resistance_mohm=r, **given
        )
        for d, r in zip(days, mohm, strict=True)
    ]
    return Reading.objects.bulk_create(rows)


def capacity(battery: Battery, ah: float, *, ago: int = 10, **values: Any) -> CapacityTest:
    """A test at the 20-hour rate of an 18 Ah block, 0.9 A, to 10.5 V at 25 C."""
    given = {"current_a": 0.9, "end_v": 10.5, "temperature_c": 25.0, **values}
    return CapacityTest.objects.create(
        team=battery.team, battery=battery, tested_at=NOW - timedelta(days=ago), capacity_ah=ah, **given
    )


def found(*teams: Team) -> dict[tuple[str, str], Finding]:
    """Findings by battery code and rule."""
    rows, _ = findings([t.pk for t in teams], now=NOW)
    return {(f.subject_label, f.rule_code): f for f in rows}


def pack(team: Team, rule: str, *, enabled: bool = True, severity: str = "", **limits: Any) -> RulePack:
    made, _ = RulePack.objects.get_or_create(team=team, name="Ours", season=None)
    RuleSetting.objects.create(
        team=team, pack=made, rule_code=rule, enabled=enabled, severity=severity, limits=limits
    )
    return made


__all__ = [
    "FLAT",
    "NOW",
    "RISING",
    "capacity",
    "found",
    "make_battery",
    "make_model",
    "make_team",
    "pack",
    "read",
]
