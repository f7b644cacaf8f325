"""Findings made up for the tests of what becomes of findings."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime, timedelta
from typing import Any

from compliance.models import Flag
from compliance.rules.base import Finding
from compliance.services.flags import flags_sync
from inventory.models import Part
from shared.models import Team
from tests.inventory.stockroom import make_part

#: Twelve hours ago: what people do between sweeps, which is stamped with the real time, is after night 0, before 1.
START = datetime.now(UTC).replace(microsecond=0) - timedelta(hours=12)


def night(number: int) -> datetime:
    return START + timedelta(days=number)


def finding(part: Part, rule: str = "stock-low", **said: Any) -> Finding:
    given: dict[str, Any] = {
        "subject_kind": "part",
        "subject_id": part.pk,
        "subject_label": part.code,
        "severity": "fix",
        "message": f"{part.code} is short.",
        "value": 3.0,
        "limit": 10.0,
        "unit": "each",
        "working": {"steps": [{"label": "On hand", "result": 3.0}], "conclusion": "3 < 10"},
    }
    return Finding(team_id=part.team_id, rule_code=rule, **{**given, **said})


class Found:
    """A finder that finds what it is told to, of the teams asked for."""

    def __init__(self, *findings: Finding) -> None:
        self.findings = list(findings)

    def __call__(self, team_ids: Sequence[int], *, now: datetime) -> tuple[list[Finding], dict[str, int]]:
        return [f for f in self.findings if f.team_id in team_ids], {"parts": len(self.findings)}


def sync(team: Team, *findings: Finding, at: int = 0) -> dict[str, int]:
    """One sweep of one team on the night of that number."""
    return flags_sync(sweep="stock", team_ids=[team.pk], now=night(at), find=Found(*findings))


def parts(team: Team, number: int) -> list[Part]:
    return [make_part(team, f"P{i:04d}") for i in range(number)]


def only_flag() -> Flag:
    return Flag.objects.get()


def events_of(flag: Flag) -> list[str]:
    return list(flag.events.order_by("at", "pk").values_list("kind", flat=True))
