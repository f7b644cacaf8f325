"""Events, matches and outings."""

from __future__ import annotations

from datetime import date, datetime, timedelta

import pytest
from django.utils import timezone

from builds.models import Event, Handling, Match, Outing
from builds.selectors.events import (
    event_next,
    events_next,
    events_to_supply,
    last_outings,
    matches_of,
    outings,
)
from builds.services.events import event_save, handling_save, match_call_off, match_save, matches_shift
from builds.services.outings import outing_log
from inventory.models import Charger
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


def test_nothing_is_ordered_for_an_event_that_is_on(shop):
    on = make_event(shop, "On", DAY, [], ends_on=DAY + timedelta(days=1))
    later = make_event(shop, "Later", DAY + timedelta(days=12), [])
    assert event_next(shop.scope, DAY) == on
    assert events_to_supply([shop.team.pk], DAY) == {shop.team.pk: later}
    assert events_to_supply([shop.team.pk], on.starts_on - timedelta(days=1)) == {shop.team.pk: on}


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


def day_of_matches(shop: Workshop, count: int = 3) -> list[Match]:
    robot = make_robot(shop)
    event = make_event(shop, "Regional", DAY, [robot], ends_on=DAY + timedelta(days=1))
    first = timezone.make_aware(datetime(2026, 12, 7, 10))
    starts = [first + timedelta(minutes=30 * i) for i in range(count)] + [first + timedelta(days=1)]
    return [
        Match.objects.create(team=shop.team, event=event, robot=robot, number=f"{i + 1}", starts_at=at)
        for i, at in enumerate(starts)
    ]


def starts_of(matches: list[Match]) -> list[str]:
    return [f"{timezone.localtime(Match.objects.get(pk=m.pk).starts_at):%d %H:%M}" for m in matches]


def shift(shop: Workshop, match: Match, minutes: int, **more) -> list[Match]:
    return matches_shift(scope=shop.scope, event=match.event, from_match=match, minutes=minutes, **more)


def test_a_delay_moves_the_later_matches_of_that_day_too(shop):
    matches = day_of_matches(shop)
    assert [m.number for m in shift(shop, matches[1], 20)] == ["2", "3"]
    assert starts_of(matches) == ["07 10:00", "07 10:50", "07 11:20", "08 10:00"]
    shift(shop, matches[1], -20, later=False)
    assert starts_of(matches) == ["07 10:00", "07 10:30", "07 11:20", "08 10:00"]


def test_two_who_heard_the_same_announcement_move_them_once(shop):
    matches = day_of_matches(shop)
    was = matches[0].starts_at
    assert len(shift(shop, matches[0], 10, was=was)) == 3
    assert shift(shop, matches[0], 10, was=was) == []
    with pytest.raises(Conflict, match="starts at 2026-12-07 10:10 by now") as refused:
        shift(shop, matches[0], 5, was=was)
    assert refused.value.field == "was"
    assert starts_of(matches)[0] == "07 10:10"


@pytest.mark.parametrize("minutes", [0, 1441, -1441])
def test_a_match_is_moved_by_minutes_of_the_day(shop, minutes):
    with pytest.raises(DomainError, match="cannot be moved by"):
        shift(shop, day_of_matches(shop)[0], minutes)


def test_a_match_is_called_off_and_played_after_all(shop):
    match = day_of_matches(shop)[0]
    assert match_call_off(scope=shop.scope, match=match).called_off
    assert match_call_off(scope=shop.scope, match=match).history.count() == 2
    assert not match_call_off(scope=shop.scope, match=match, called_off=False).called_off


def test_an_event_has_one_handling_however_often_it_is_entered(shop):
    event = make_event(shop, "Regional", DAY, [])
    first = handling_save(scope=shop.scope, handling=Handling(team=shop.team, event=event, cool_min=30))
    again = handling_save(scope=shop.scope, handling=Handling(team=shop.team, event=event, cool_min=25))
    assert (first.pk, Handling.objects.get().cool_min) == (again.pk, 25)
    with pytest.raises(DomainError, match="cannot be right") as refused:
        handling_save(scope=shop.scope, handling=Handling(team=shop.team, event=event, rest_min=5000))
    assert refused.value.field == "rest_min"


def test_batteries_and_chargers_go_to_an_event_too(shop):
    event = make_event(shop, "Regional", DAY, [])
    battery, charger = make_battery(shop.scope), Charger.objects.create(team=shop.team, name="1")
    event_save(scope=shop.scope, event=event, batteries=[battery], chargers=[charger])
    event_save(scope=shop.scope, event=event)
    assert (list(event.batteries.all()), list(event.chargers.all())) == ([battery], [charger])
    with pytest.raises(Conflict, match="another team"):
        event_save(scope=shop.scope, event=event, batteries=[make_battery(make_workshop().scope)])
