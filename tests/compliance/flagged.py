"""Flags for tests of pages and API, made without a sweep."""

from __future__ import annotations

from datetime import timedelta
from itertools import count
from typing import Any

from django.utils import timezone

from compliance.models import Flag, FlagEvent, Waiver
from inventory.models import Battery, BatteryModel
from shared.models import Team, User

_numbers = count(1)


def make_flag(team: Team, **values: Any) -> Flag:
    """An open flag about a battery that does not exist, unless told otherwise."""
    number = next(_numbers)
    now = timezone.now()
    given: dict[str, Any] = {
        "rule_code": "battery-rise",
        "sweep": "batteries",
        "subject_kind": "battery",
        "subject_id": 10_000_000 + number,
        "subject_label": f"B{number}",
        "severity": "fix",
        "message": f"Resistance of B{number} rose.",
        "working": {"steps": [], "conclusion": "It rose."},
        "opened_at": now - timedelta(days=3),
        "changed_at": now - timedelta(days=3),
    }
    if values.get("state") == "cleared":
        given |= {"cleared_at": now, "cleared_reason": "no longer found"}
    flag = Flag.objects.create(team=team, **{**given, **values})
    FlagEvent.objects.create(
        flag=flag, at=flag.opened_at, kind=FlagEvent.Kind.OPENED, severity=flag.severity, detail=flag.message
    )
    return flag


def make_waiver(flag: Flag, by: User | None = None, days: int = 5) -> Waiver:
    return Waiver.objects.create(
        team=flag.team,
        flag=flag,
        reason="Known, for practice only",
        until=timezone.localdate() + timedelta(days=days),
        by=by,
    )


def make_battery(team: Team, code: str, **values: Any) -> Battery:
    """A battery of the one model these tests know."""
    model = BatteryModel.objects.filter(team=team, code="AGM18").first()
    if model is None:
        model = BatteryModel(team=team, code="AGM18", name="18 Ah", chemistry="agm", capacity_ah=18)
        model.full_clean()
        model.save()
    return Battery.objects.create(
        team=team, code=code, model=model, acquired_on=timezone.localdate(), **values
    )
