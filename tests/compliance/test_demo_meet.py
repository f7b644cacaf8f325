"""The meet that is on in the demo: there is a next match whenever it is made, and what happened fits together."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import timedelta

import pytest
from django.utils import timezone
from pytest_django import DjangoDbBlocker

from builds.models import Event, Outing, RotationPlan
from builds.selectors.cart import CartState, cart
from builds.selectors.next_match import next_match
from builds.selectors.review import event_review
from builds.selectors.rotation import current_plan
from compliance.demo.meet import FIRST_DAY, MEET_NAME, ON_THE_CART, SECOND_DAY
from compliance.rotation_tasks import rotation_plan
from compliance.selectors.battery_health import verdicts
from inventory.models import BatteryIncident, Charge
from shared.access import Scope, system_scope
from shared.models import JobRun
from tests.compliance.demo_world import demo_world

pytestmark = pytest.mark.django_db
NOW = timezone.now()


@pytest.fixture(scope="module")
def scope(django_db_setup: None, django_db_blocker: DjangoDbBlocker) -> Iterator[Scope]:
    with django_db_blocker.unblock(), demo_world(NOW) as teams:
        yield system_scope(teams[0])


@pytest.fixture
def meet(scope: Scope) -> Event:
    return Event.objects.get(team=scope.team, name=MEET_NAME)


def test_it_is_as_large_as_asked_for(meet: Event) -> None:
    assert meet.batteries.count() == 8
    assert meet.chargers.count() == 3
    assert all(charger.current_a for charger in meet.chargers.all())
    assert meet.matches.count() == 14
    assert meet.matches.values("robot").distinct().count() == 1
    assert meet.starts_on < meet.ends_on
    assert meet.matches.filter(strength=None).count() == 1
    assert not meet.matches.filter(carrier="").exists()


def test_the_next_match_is_near_whenever_it_is_made(scope: Scope, meet: Event) -> None:
    """The times count from the moment the world is made, so what holds now holds at any hour."""
    assert len(FIRST_DAY) == len(SECOND_DAY) == 7
    coming = next_match(scope, meet, NOW)
    assert coming is not None
    assert 20 < coming.minutes_to_start <= 30
    assert coming.ready
    assert coming.carrier
    assert coming.battery is not None
    assert coming.do_now.startswith(f"Put {coming.battery.code} into Kittiwake by")


def test_what_happened_lies_before_now_and_fits_together(meet: Event) -> None:
    outings = list(Outing.objects.filter(match__event=meet).order_by("started_at"))
    assert len(outings) == 10
    assert all(o.ended_at and o.ended_at < NOW and not o.in_robot for o in outings)
    assert all(o.start_rest_v and o.end_rest_v and o.lowest_v and o.used_ah for o in outings)
    for charge in Charge.objects.filter(started_at__gte=outings[0].started_at):
        assert charge.started_at <= NOW
        until = charge.ended_at or NOW
        mine = [o for o in outings if o.battery_id == charge.battery_id]
        assert not [o for o in mine if o.started_at < until and (o.ended_at or NOW) > charge.started_at]


def test_no_two_batteries_share_a_charger(meet: Event) -> None:
    for charger in meet.chargers.all():
        before = None
        for charge in charger.charges.filter(started_at__gte=NOW - timedelta(days=2)).order_by("started_at"):
            assert before is None or before <= charge.started_at
            before = charge.ended_at or NOW


def test_the_pit_is_busy(scope: Scope, meet: Event) -> None:
    states = {row.battery.code: row.state for row in cart(scope, meet, NOW)}
    assert set(states) == set(ON_THE_CART)
    assert CartState.CHARGING in states.values()
    assert list(states.values()).count(CartState.READY) >= 4


def test_one_battery_went_out_against_the_plan(scope: Scope, meet: Event) -> None:
    review = event_review(scope, meet)
    against = [match for match in review.matches if match.ran is not None and not match.as_planned]
    assert [match.match.number for match in against] == ["R9"]


def test_the_plan_for_the_rest_is_proven_and_sends_out_what_may_go(scope: Scope, meet: Event) -> None:
    run = JobRun.objects.get(name="rotation.plan", team=scope.team, state=JobRun.State.QUEUED)
    assert rotation_plan(run) == {"matches": 4, "proven": 1}
    view = current_plan(scope, meet)
    assert view is not None
    assert (view.plan.state, view.plan.proven) == (RotationPlan.State.READY, True)
    health = verdicts(scope)
    ahead = [step for step in view.steps if step.done is None]
    assert len(ahead) == 4
    assert all(step.battery and health[step.battery.pk].may_match for step in ahead)
    assert all(step.margin_v is not None and step.margin_v > 1 for step in ahead)


def test_incidents_were_looked_at_and_there_was_a_top_up(scope: Scope, meet: Event) -> None:
    mine = BatteryIncident.objects.filter(team=scope.team)
    assert {incident.kind for incident in mine} == {"dropped", "lug"}
    assert all(incident.looked_at and incident.finding for incident in mine)
    assert Charge.objects.filter(battery__events=meet, purpose=Charge.Purpose.TOP_UP).count() == 8
