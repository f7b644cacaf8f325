"""What an event asks of the stores: lacks, repairs learned from the ledger, and what is not known.

The gamma-Poisson figures are checked against scipy's negative binomial and a prior fitted here another way.
"""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from decimal import Decimal

import numpy as np
import pytest
from django.utils import timezone
from scipy import optimize, stats

from builds.models import Event
from builds.selectors.demand import demand_before, demand_of_events
from inventory.models import Bin
from inventory.services.ledger import movement_reverse, stock_receive, stock_use
from inventory.services.spools import spool_create
from tests.builds.workshop import Workshop, make_build, make_circuit, make_event, make_robot, make_workshop
from tests.inventory.stockroom import make_part

pytestmark = pytest.mark.django_db

TODAY = timezone.localdate()


@pytest.fixture
def shop() -> Workshop:
    return make_workshop()


def noon(day: date) -> datetime:
    return datetime(day.year, day.month, day.day, 12, tzinfo=UTC)


def days_ago(days: int) -> date:
    return TODAY - timedelta(days=days)


def stock_up(shop, *parts, quantity=50, days=200):
    """The ledger begins long before the events, so it covers them."""
    shelf, _ = Bin.objects.get_or_create(team=shop.team, code="A1")
    for part in parts:
        stock_receive(scope=shop.scope, part=part, bin=shelf, quantity=quantity, at=noon(days_ago(days)))
    return shelf


def coming(shop, robots, matches=12) -> Event:
    return make_event(shop, "Coming", TODAY + timedelta(days=12), robots, matches)


def test_what_current_builds_of_going_robots_lack_is_demand(shop):
    going, staying = make_robot(shop), make_robot(shop)
    current = make_build(shop, going)
    draft = make_build(shop, going, "draft", "draft")
    for build in (current, draft, make_build(shop, staying)):
        make_circuit(shop, build, "A", wired=False, device_fitted=False)
    demand = demand_before(shop.scope, coming(shop, [going]))
    assert {pid: float(d.total) for pid, d in demand.parts.items()} == {
        shop.wire.pk: 3.2,
        shop.ring.pk: 2,
        shop.blade.pk: 2,
        shop.fuse.pk: 1,
        shop.motor.pk: 1,
    }
    assert demand.robots == 1


def test_without_a_past_event_repairs_are_not_known_rather_than_none(shop):
    robot = make_robot(shop)
    make_circuit(shop, make_build(shop, robot), "A")
    demand = demand_before(shop.scope, coming(shop, [robot]))
    assert demand.exposure_seen == 0
    assert demand.parts[shop.fuse.pk].repairs is None
    assert demand.parts[shop.fuse.pk].total == 0


def test_repairs_follow_the_negative_binomial_of_a_prior_fitted_over_the_kind(shop):
    robot = make_robot(shop)
    make_circuit(shop, make_build(shop, robot), "A", terminal_load=shop.ring)
    others = [make_part(shop.team, f"O{i}") for i in range(4)]
    shelf = stock_up(shop, *others)
    event = make_event(shop, "Past", days_ago(60), [robot], 10, ends_on=days_ago(59))
    seen = [9, 4, 1, 0]
    for part, count in zip(others, seen, strict=True):
        for i in range(count):
            stock_use(
                scope=shop.scope,
                part=part,
                bin=shelf,
                quantity=1,
                at=noon(event.starts_on) + timedelta(minutes=i),
            )
    demand = demand_before(shop.scope, coming(shop, [robot], 12))
    found = {pid: d.repairs for pid, d in demand.parts.items()}
    # O3 was never used and stands in no build that goes: it is not at risk.
    assert others[3].pk not in found
    x, t, ahead = np.array(seen[:3]), 10.0, 12.0

    def cost(q):
        a, b = np.exp(q)
        return -stats.nbinom.logpmf(x, a, b / (b + t)).sum()

    a, b = np.exp(optimize.minimize(cost, [0.0, 0.0], method="Nelder-Mead", options={"xatol": 1e-8}).x)
    for part, count in zip(others[:3], seen[:3], strict=True):
        repairs = found[part.pk]
        assert repairs is not None
        assert (repairs.seen, repairs.exposure_seen, repairs.exposure_ahead) == (count, 10, 12)
        assert repairs.rate == pytest.approx((a + count) / (b + t), rel=1e-3)
        assert repairs.count == stats.nbinom.ppf(0.95, a + count, (b + t) / (b + t + ahead))


def test_a_kind_that_never_failed_shares_half_a_repair(shop):
    robot = make_robot(shop)
    make_circuit(shop, make_build(shop, robot), "A")
    stock_up(shop, shop.fuse)
    make_event(shop, "Past", days_ago(30), [robot], 10)
    demand = demand_before(shop.scope, coming(shop, [robot], 12))
    ring, blade = demand.parts[shop.ring.pk].repairs, demand.parts[shop.blade.pk].repairs
    assert ring is not None
    assert blade is not None
    assert ring.prior.shape == blade.prior.shape == 0.25
    assert ring.count == stats.nbinom.ppf(0.95, 0.25, 10 / 22)


def test_use_outside_events_and_use_that_was_undone_do_not_count(shop):
    robot = make_robot(shop)
    make_circuit(shop, make_build(shop, robot), "A")
    shelf = stock_up(shop, shop.fuse)
    make_event(shop, "Past", days_ago(30), [robot], 10)
    stock_use(scope=shop.scope, part=shop.fuse, bin=shelf, quantity=8, at=noon(days_ago(45)))
    stock_use(scope=shop.scope, part=shop.fuse, bin=shelf, quantity=3, at=noon(days_ago(30)))
    repairs = demand_before(shop.scope, coming(shop, [robot])).parts[shop.fuse.pk].repairs
    assert repairs is not None
    assert repairs.seen == 3


def test_an_undone_use_during_the_event_is_not_a_repair(shop):
    robot = make_robot(shop)
    make_circuit(shop, make_build(shop, robot), "A")
    shelf = stock_up(shop, shop.fuse)
    make_event(shop, "Past", days_ago(30), [robot], 10)
    line = stock_use(scope=shop.scope, part=shop.fuse, bin=shelf, quantity=3, at=noon(days_ago(30)))
    movement_reverse(scope=shop.scope, movement=line)
    repairs = demand_before(shop.scope, coming(shop, [robot])).parts[shop.fuse.pk].repairs
    assert repairs is not None
    assert repairs.seen == 0


def test_an_event_before_the_ledger_began_is_no_exposure(shop):
    robot = make_robot(shop)
    make_circuit(shop, make_build(shop, robot), "A")
    stock_up(shop, shop.fuse, days=40)
    make_event(shop, "Before the ledger", days_ago(90), [robot], 10)
    make_event(shop, "Covered", days_ago(20), [robot], 7)
    demand = demand_before(shop.scope, coming(shop, [robot]))
    assert (demand.past_events, demand.exposure_seen) == (1, 7)


def test_wire_is_expected_in_cuts_of_the_longest_length_seen(shop):
    robot = make_robot(shop)
    make_circuit(shop, make_build(shop, robot), "A")
    shelf = stock_up(shop, shop.fuse)
    spool = spool_create(
        scope=shop.scope,
        code="S1",
        wire=shop.wire,
        bin=shelf,
        full_length_m=Decimal(50),
        at=noon(days_ago(200)),
    )
    make_event(shop, "Past", days_ago(30), [robot], 10)
    for length in ("0.8", "2.5"):
        stock_use(
            scope=shop.scope,
            part=shop.wire,
            bin=shelf,
            spool=spool,
            quantity=Decimal(length),
            at=noon(days_ago(30)),
        )
    repairs = demand_before(shop.scope, coming(shop, [robot])).parts[shop.wire.pk].repairs
    assert repairs is not None
    assert repairs.seen == 2
    assert repairs.count > 0
    assert repairs.quantity == repairs.count * Decimal("2.5")


def test_a_conductor_to_be_wired_without_a_length_is_told(shop):
    robot = make_robot(shop)
    make_circuit(shop, make_build(shop, robot), "A", wired=False, length_m=None)
    demand = demand_before(shop.scope, coming(shop, [robot]))
    assert [gap.circuit_code for gap in demand.gaps] == ["A"]


@pytest.mark.parametrize("count", [2, 50])
def test_the_queries_do_not_grow_with_robots_teams_or_events(count, django_assert_num_queries):
    events = []
    for _ in range(2):
        shop = make_workshop()
        robots = [make_robot(shop) for _ in range(count)]
        for robot in robots:
            make_circuit(shop, make_build(shop, robot), "A", wired=False)
        shelf = stock_up(shop, shop.fuse)
        make_event(shop, "Past", days_ago(30), robots, 10)
        stock_use(scope=shop.scope, part=shop.fuse, bin=shelf, quantity=1, at=noon(days_ago(30)))
        events.append(coming(shop, robots))
    with django_assert_num_queries(11):
        demands = demand_of_events(events, today=TODAY)
    assert [d.robots for d in demands.values()] == [count, count]
    assert all(d.parts[pid].repairs for d in demands.values() for pid in d.parts)
