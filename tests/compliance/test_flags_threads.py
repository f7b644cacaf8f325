"""Two sweeps at once, on PostgreSQL, with real threads and connections: one does the work, the other finds it done."""

from __future__ import annotations

import threading
import time
from collections.abc import Sequence
from datetime import datetime

import pytest
from django.db import connection

from compliance.models import Flag, FlagEvent
from compliance.rules.base import Finding
from compliance.services.flags import flag_waive, flags_sync
from inventory.models import Part
from inventory.services.ledger import stock_receive
from shared.models import Role, Team
from tests.compliance.findings import finding, night
from tests.compliance.test_flags_waived import day
from tests.inventory.stockroom import make_part, make_room, make_scope, make_team
from tests.inventory.test_ledger_threads import together

pytestmark = [pytest.mark.postgres, pytest.mark.django_db(transaction=True)]


class Judge:
    """Flags every part of the teams; counts how many judge at the same time."""

    def __init__(self, severity: str = "fix") -> None:
        self.severity = severity
        self.at_work = self.most_at_work = 0
        self._lock = threading.Lock()

    def __call__(self, team_ids: Sequence[int], *, now: datetime) -> tuple[list[Finding], dict[str, int]]:
        with self._lock:
            self.at_work += 1
            self.most_at_work = max(self.most_at_work, self.at_work)
        found = [
            finding(part, severity=self.severity)
            for part in Part.objects.filter(team_id__in=team_ids, archived=False)
        ]
        time.sleep(0.05)
        with self._lock:
            self.at_work -= 1
        return found, {"parts": len(found)}


def team_with(parts: int) -> Team:
    team = make_team()
    for number in range(parts):
        make_part(team, f"P{number}")
    return team


def test_the_suite_runs_on_the_server_meant():
    assert connection.vendor == "postgresql"


def test_eight_sweeps_of_one_team_open_each_flag_once():
    team, judge = team_with(5), Judge()
    ends = together([lambda: flags_sync(sweep="stock", team_ids=[team.pk], now=night(0), find=judge)] * 8)
    assert ends == {"done": 8}
    assert Flag.objects.count() == 5
    assert list(FlagEvent.objects.values_list("kind", flat=True)) == ["opened"] * 5
    assert judge.most_at_work == 1


def test_sweeps_over_teams_in_crossing_order_do_not_deadlock():
    teams, judge = [team_with(2) for _ in range(4)], Judge()
    orders = [[t.pk for t in teams], [t.pk for t in reversed(teams)]]
    ends = together(
        [
            lambda ids=ids: flags_sync(sweep="stock", team_ids=ids, now=night(0), find=judge)  # type: ignore[misc]
            for ids in orders * 4
        ]
    )
    assert ends == {"done": 8}
    assert Flag.objects.count() == FlagEvent.objects.count() == 8


def test_different_teams_are_swept_side_by_side():
    teams, judge = [team_with(1) for _ in range(3)], Judge()
    ends = together(
        [
            lambda pk=team.pk: flags_sync(sweep="stock", team_ids=[pk], now=night(0), find=judge)  # type: ignore[misc]
            for team in teams
        ]
    )
    assert ends == {"done": 3}
    assert judge.most_at_work > 1


def test_clearing_twice_at_once_is_told_once():
    team, judge = team_with(3), Judge()
    flags_sync(sweep="stock", team_ids=[team.pk], now=night(0), find=judge)
    Part.objects.update(archived=True)
    together([lambda: flags_sync(sweep="stock", team_ids=[team.pk], now=night(1), find=judge)] * 6)
    assert set(Flag.objects.values_list("state", flat=True)) == {"cleared"}
    assert FlagEvent.objects.filter(kind="cleared").count() == 3


def test_people_may_write_to_a_team_while_it_is_swept():
    room = make_room()
    started = threading.Event()
    finished: list[float] = []

    def slow(team_ids: Sequence[int], *, now: datetime) -> tuple[list[Finding], dict[str, int]]:
        started.set()
        time.sleep(1.5)
        finished.append(time.monotonic())
        return [], {}

    def receive() -> None:
        started.wait(timeout=10)
        stock_receive(scope=room.scope, part=room.fuse, bin=room.shelf, quantity=1)
        received.append(time.monotonic())

    received: list[float] = []
    sweep = lambda: flags_sync(sweep="loads", team_ids=[room.scope.team.pk], now=night(0), find=slow)  # noqa: E731
    assert together([sweep, receive]) == {"done": 2}
    assert received[0] < finished[0]


def test_two_mentors_waive_at_once_and_one_waiver_stands():
    team = team_with(1)
    flags_sync(sweep="stock", team_ids=[team.pk], now=night(0), find=Judge())
    flag = Flag.objects.get()
    mentors = [make_scope(team, Role.MENTOR) for _ in range(4)]
    ends = together(
        [
            lambda who=who: flag_waive(scope=who, flag=flag, reason="Known", until=day(3))  # type: ignore[misc]
            for who in mentors
        ]
    )
    assert ends == {"done": 1, "Conflict": 3}
    assert flag.waivers.count() == 1
