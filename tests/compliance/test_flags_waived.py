"""Waivers: by a mentor, with a reason, until a day; and how readers see flags that are waived."""

from __future__ import annotations

from datetime import date, timedelta

import pytest
from django.http import Http404
from django.utils import timezone

from compliance.models import Flag, Waiver
from compliance.selectors.flags import flag_counts, flag_history, flags_of, flags_open, flags_open_of
from compliance.services.flags import flag_waive, waiver_withdraw
from inventory.models import Part
from shared.access import Scope
from shared.errors import Conflict, DomainError, NotAllowed
from shared.models import Role
from tests.compliance.findings import events_of, finding, only_flag, parts, sync
from tests.inventory.stockroom import make_part, make_scope, make_team

pytestmark = pytest.mark.django_db


@pytest.fixture
def scope() -> Scope:
    return make_scope(make_team(), Role.MENTOR)


@pytest.fixture
def part(scope) -> Part:
    return make_part(scope.team, "FUSE30")


@pytest.fixture
def flag(scope, part) -> Flag:
    sync(scope.team, finding(part))
    return only_flag()


def day(ahead: int) -> date:
    return timezone.localdate() + timedelta(days=ahead)


def waive(scope: Scope, flag: Flag, ahead: int = 10, reason: str = "Borrowed for this event") -> Waiver:
    return flag_waive(scope=scope, flag=flag, reason=reason, until=day(ahead))


def test_a_waiver_marks_the_flag_until_its_last_day_and_then_ends_by_itself(scope, flag):
    waive(scope, flag, ahead=3)
    for ahead, waived in ((0, True), (3, True), (4, False)):
        seen = flags_open(scope, day(ahead)).get()
        assert (seen.waived, seen.waived_until) == (waived, day(3) if waived else None)
    assert events_of(flag) == ["opened", "waived"]
    last = flag_history(scope, flag)[0]
    assert last.detail == f"until {day(3)}: Borrowed for this event"
    assert last.by == scope.user


def test_a_waiver_of_one_day_is_for_today(scope, flag):
    waive(scope, flag, ahead=0)
    assert flags_open(scope).get().waived


@pytest.mark.parametrize("role", [Role.MEMBER, Role.LEAD, Role.AUDITOR])
def test_only_a_mentor_waives_and_withdraws(scope, flag, role):
    other = make_scope(scope.team, role)
    with pytest.raises(NotAllowed):
        waive(other, flag)
    waiver = waive(scope, flag)
    with pytest.raises(NotAllowed):
        waiver_withdraw(scope=other, waiver=waiver)
    assert flags_open(scope).get().waived


def test_another_teams_mentor_finds_no_such_flag(flag):
    stranger = make_scope(make_team(), Role.MENTOR)
    with pytest.raises(Http404):
        waive(stranger, flag)
    assert Waiver.objects.count() == 0


@pytest.mark.parametrize("reason", ["", "   "])
def test_a_waiver_without_a_reason_is_refused(scope, flag, reason):
    with pytest.raises(DomainError, match="needs a reason") as refused:
        waive(scope, flag, reason=reason)
    assert refused.value.field == "reason"


def test_a_waiver_that_would_have_ended_is_refused(scope, flag):
    with pytest.raises(DomainError, match=str(day(-1))) as refused:
        waive(scope, flag, ahead=-1)
    assert refused.value.field == "until"


def test_one_waiver_stands_at_a_time(scope, flag):
    first = waive(scope, flag, ahead=5)
    with pytest.raises(Conflict, match=f"waived until {day(5)}"):
        waive(scope, flag, ahead=9)
    waiver_withdraw(scope=scope, waiver=first)
    assert not flags_open(scope).get().waived
    waive(scope, flag, ahead=9)
    assert flags_open(scope).get().waived_until == day(9)
    assert events_of(flag) == ["opened", "waived", "unwaived", "waived"]
    with pytest.raises(Conflict, match="withdrawn already"):
        waiver_withdraw(scope=scope, waiver=first)


def test_a_waiver_that_ran_out_makes_way(scope, flag):
    old = waive(scope, flag)
    Waiver.objects.filter(pk=old.pk).update(until=day(-1))
    waive(scope, flag, ahead=2)
    old.refresh_from_db()
    assert old.withdrawn_at is not None
    assert flags_open(scope).get().waived_until == day(2)
    assert flag.events.get(kind="unwaived").detail == f"ran out on {day(-1)}"


def test_a_waiver_whose_giver_is_gone_can_be_withdrawn(scope, flag):
    waiver = waive(make_scope(scope.team, Role.MENTOR), flag)
    assert waiver.by is not None
    waiver.by.delete()
    waiver_withdraw(scope=scope, waiver=waiver)
    assert not flags_open(scope).get().waived
    assert waiver.history.first().history_user == scope.user


def test_a_cleared_flag_is_not_waived(scope, flag):
    sync(scope.team, at=1)
    with pytest.raises(Conflict, match="has cleared"):
        waive(scope, flag)


def test_a_waiver_outlives_a_sweep_but_not_something_worse(scope, part, flag):
    waiver = waive(scope, flag)
    sync(scope.team, finding(part, value=2.0), at=1)
    sync(scope.team, finding(part, severity="watch"), at=2)
    assert flags_open(scope).get().waived
    sync(scope.team, finding(part, severity="stop"), at=3)
    assert not flags_open(scope).get().waived
    assert events_of(flag)[-2:] == ["escalated", "unwaived"]
    assert waiver.history.count() == 2


def test_the_most_serious_flag_comes_first_and_of_equals_the_oldest(scope):
    made = parts(scope.team, 6)
    severities = ["watch", "fix", "unknown", "stop", "fix", "stop"]
    found = [finding(p, severity=s) for p, s in zip(made, severities, strict=True)]
    sync(scope.team, *found[3:])
    sync(scope.team, *found, at=1)
    seen = [(f.severity, f.subject_label) for f in flags_open(scope)]
    assert seen == [
        ("stop", "P0003"), ("stop", "P0005"), ("fix", "P0004"), ("fix", "P0001"), ("unknown", "P0002"),
        ("watch", "P0000"),
    ]  # fmt: skip


def test_counts_leave_out_what_is_waived_and_what_has_cleared(scope, django_assert_num_queries):
    made = parts(scope.team, 5)
    severities = ["stop", "stop", "fix", "watch", "watch"]
    found = [finding(p, severity=s) for p, s in zip(made, severities, strict=True)]
    sync(scope.team, *found)
    sync(scope.team, *found[:4], at=1)
    waive(scope, Flag.objects.get(subject_id=made[0].pk), ahead=1)
    with django_assert_num_queries(1):
        assert flag_counts(scope) == {"stop": 1, "fix": 1, "unknown": 0, "watch": 1, "waived": 1}
    assert flag_counts(scope, day(2)) == {"stop": 2, "fix": 1, "unknown": 0, "watch": 1, "waived": 0}


def test_flags_of_a_subject_are_its_own_open_ones_first(scope):
    one, other = parts(scope.team, 2)
    sync(scope.team, finding(one, rule="a", severity="stop"), finding(other))
    sync(scope.team, finding(one, rule="b", severity="watch"), finding(other), at=1)
    seen = [(f.rule_code, f.state) for f in flags_of(scope, "part", one.pk)]
    assert seen == [("b", "open"), ("a", "cleared")]


def test_readers_see_their_own_team_only(scope, flag):
    stranger = make_scope(make_team(), Role.MENTOR)
    assert not flags_open(stranger).exists()
    assert not flags_of(stranger, "part", flag.subject_id).exists()
    assert not flag_history(stranger, flag).exists()
    assert sum(flag_counts(stranger).values()) == 0
    assert [f.pk for f in flags_open_of([scope.team.pk, stranger.team.pk])] == [flag.pk]
