"""Events, matches and outings."""

from __future__ import annotations

from datetime import date, timedelta

import pytest
from django.utils import timezone

from builds.models import Event, Match, Outing
from builds.selectors.events import event_next, events_next, last_outings, matches_of, outings
from builds.services.events import event_save, match_save, outing_log
from inventory.services.batteries import battery_set_state
from shared.errors import Conflict, DomainError, NotAllowed
from shared.models import JobRun, Role
from tests.builds.workshop import Workshop, make_event, make_robot, make_workshop
from tests.inventory.test_batteries import make_battery

pytestmark = pytest.mark.django_db

DAY = date(2026, 12, 7)


@pytest.fixture
def shop() -> Workshop:
    return make_workshop()


def test_an_event_is_saved_with_its_robots_and_their_history(shop):
    first, second = make_robot(shop), make_robot(shop)
    event = Event(team=shop.team, name="Regional", starts_on=DAY, ends_on=DAY, matches_planned=9)
    event_save(scope=shop.scope, event=event, robots=[first, second])
    event_save(scope=shop.scope, event=event, robots=[second])
    assert list(event.robots.all()) == [second]
    assert [h.robots.count() for h in event.history.all()][:1] == [1]
    assert JobRun.objects.filter(name="sweep.stock").count() == 1


def test_robots_stay_when_none_are_given(shop):
    event = make_event(shop, "Regional", DAY, [make_robot(shop)])
    event.place = "Hall"
    event_save(scope=shop.scope, event=event)
    assert event.robots.count() == 1


def test_a_robot_of_another_team_does_not_go(shop):
    event = Event(team=shop.team, name="Regional", starts_on=DAY, ends_on=DAY)
    with pytest.raises(Conflict, match="another team"):
        event_save(scope=shop.scope, event=event, robots=[make_robot(make_workshop())])
    assert not Event.objects.exists()


def test_a_member_does_not_plan_events():
    member = make_workshop(Role.MEMBER)
    with pytest.raises(NotAllowed):
        event_save(scope=member.scope, event=Event(team=member.team, name="X", starts_on=DAY, ends_on=DAY))


def test_the_next_event_is_the_one_going_on_or_the_first_to_come(shop):
    past = make_event(shop, "Past", DAY - timedelta(days=30), [])
    later = make_event(shop, "Later", DAY + timedelta(days=20), [])
    soon = make_event(shop, "Soon", DAY, [], ends_on=DAY + timedelta(days=2))
    assert event_next(shop.scope, DAY + timedelta(days=1)) == soon
    assert event_next(shop.scope, DAY + timedelta(days=3)) == later
    assert event_next(shop.scope, past.starts_on) == past
    assert event_next(shop.scope, DAY + timedelta(days=60)) is None
    other = make_workshop()
    assert events_next([shop.team.pk, other.team.pk], DAY) == {shop.team.pk: soon}


def test_a_match_belongs_to_a_robot_that_goes(shop):
    going, staying = make_robot(shop), make_robot(shop)
    event = make_event(shop, "Regional", DAY, [going])
    start = timezone.now()
    match_save(
        scope=shop.scope,
        match=Match(team=shop.team, event=event, robot=going, number="Q1", starts_at=start),
    )
    with pytest.raises(DomainError, match="does not go to Regional"):
        match_save(
            scope=shop.scope,
            match=Match(team=shop.team, event=event, robot=staying, number="Q2", starts_at=start),
        )
    assert [m.robot for m in matches_of(shop.scope, event)] == [going]


def test_an_outing_takes_the_robot_of_its_match_and_a_double_tap_is_one(shop):
    robot = make_robot(shop)
    event = make_event(shop, "Regional", DAY, [robot])
    match = Match.objects.create(
        team=shop.team, event=event, robot=robot, number="Q1", starts_at=timezone.now()
    )
    battery = make_battery(shop.scope)
    first = outing_log(scope=shop.scope, battery=battery, match=match, start_rest_v=12.9)
    assert outing_log(scope=shop.scope, battery=battery, match=match, start_rest_v=12.9) == first
    assert (first.robot, first.by) == (robot, shop.scope.user)
    with pytest.raises(DomainError, match="not of"):
        outing_log(scope=shop.scope, battery=battery, match=match, robot=make_robot(shop))


@pytest.mark.parametrize(
    ("state", "importance", "goes"),
    [
        ("practice", None, True),
        ("practice", "practice", True),
        ("practice", "final", False),
        ("quarantine", None, False),
        ("retired", "practice", False),
    ],
)
def test_which_batteries_may_go_out_again(shop, state, importance, goes):
    battery = make_battery(shop.scope)
    battery_set_state(scope=shop.scope, battery=battery, state=state, reason="38 mohm")
    match = None
    if importance:
        robot = make_robot(shop)
        match = Match.objects.create(
            team=shop.team,
            event=make_event(shop, "Regional", DAY, [robot]),
            robot=robot,
            number="1",
            starts_at=timezone.now(),
            importance=importance,
        )
    if goes:
        outing_log(scope=shop.scope, battery=battery, match=match)
    else:
        with pytest.raises(DomainError, match=r"must not go out.*38 mohm"):
            outing_log(scope=shop.scope, battery=battery, match=match)
        # It happened all the same: then the log says so.
        outing_log(scope=shop.scope, battery=battery, match=match, although_out_of_service=True)
    assert Outing.objects.count() == 1


@pytest.mark.parametrize("count", [2, 50])
def test_last_outings_take_one_query_however_many(shop, count, django_assert_num_queries):
    robot = make_robot(shop)
    now = timezone.now()
    for i in range(count):
        battery = make_battery(shop.scope, f"B{i}")
        for hours in (5, 1, 3):
            Outing.objects.create(
                team=shop.team, battery=battery, robot=robot, started_at=now - timedelta(hours=hours)
            )
    with django_assert_num_queries(1):
        last = last_outings(shop.scope)
        assert {(o.started_at, o.robot and o.robot.code) for o in last.values()} == {
            (now - timedelta(hours=1), robot.code)
        }
    assert len(last) == count
    with django_assert_num_queries(1):
        assert len([f"{o} {o.robot} {o.match and o.match.event}" for o in outings(shop.scope)]) == 3 * count
