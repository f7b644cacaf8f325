"""The meet that is on: two days of one robot with eight batteries and three chargers, halfway through the second.

Its times count from the moment the world is made, so that there is a next match at any hour.
"""

from __future__ import annotations

from datetime import datetime, timedelta
from random import Random

from django.utils import timezone

from builds.models import Event, Handling, Match, Robot, RotationPlan, RotationStep, Season
from builds.services.events import event_save
from builds.services.rotation import plan_ask
from compliance.demo.batteries import SAGS, Cart
from compliance.demo.clock import Clock
from compliance.demo.incidents import log_loose_lug
from compliance.demo.pit import MINUTE, Pit, hold
from compliance.demo.rows import put_many
from compliance.selectors.rotation import judged_for
from inventory.models import Charge
from shared.access import Scope
from shared.models import JobRun

MEET_NAME = "Estuary League, first meet"
ON_THE_CART = ("GP-01", "GP-02", "GP-03", "GP-04", "GP-05", "GP-06", "GP-08", "GP-10")
CHARGERS = 3
#: Minutes from now at which the matches of the second day begin; the first day is the same a day earlier.
SECOND_DAY = (-165, -115, -60, 30, 70, 115, 165)
FIRST_DAY = tuple(minutes - 24 * 60 for minutes in (-165, -115, -60, -15, 30, 70, 115))
IMPORTANCE = ("practice", *["round"] * 9, "knockout", "knockout", "knockout", "final")
#: How hard the opponents are; the team does not know those of the first match.
STRENGTH = (None, 2, 3, 2, 4, 3, 3, 4, 2, 3, 3, 4, 4, 5)
#: Before this match the carrier took another battery than the plan said.
GRABBED = 8
CARRIERS = ("Pip", "Wren", "Sander", "Teal")


def make_meet(scope: Scope, robot: Robot, season: Season, cart: Cart, clock: Clock, chance: Random) -> None:
    """The meet up to now, with the plan that was followed and the one for the rest of it."""
    event = _event(scope, robot, season, cart, clock)
    matches = put_many(scope, _matches(scope, event, robot, clock))
    first = matches[0].starts_at
    put_many(scope, _top_ups(scope, event, first))
    begins = first - timedelta(hours=2)
    plan = plan_ask(
        scope=scope, event=event, judged=judged_for(scope, event), reason=RotationPlan.Reason.FIRST, now=begins,
        trigger=JobRun.Trigger.COMMAND,
    )  # fmt: skip
    _play(scope, plan, [match for match in matches if match.starts_at < clock.now], cart, clock, chance)
    log_loose_lug(scope, cart, matches[3].starts_at + 35 * MINUTE)
    plan_ask(
        scope=scope, event=event, judged=judged_for(scope, event), reason=RotationPlan.Reason.SWAP, now=clock.now,
        trigger=JobRun.Trigger.COMMAND,
    )  # fmt: skip


def _event(scope: Scope, robot: Robot, season: Season, cart: Cart, clock: Clock) -> Event:
    """Its days are those of its first and its last match: at night that may be three."""
    days = [timezone.localdate(clock.now + minutes * MINUTE) for minutes in (FIRST_DAY[0], SECOND_DAY[-1])]
    event = Event(
        team=scope.team, name=MEET_NAME, season=season, place="Lifeboat Hall, Estuary Mouth",
        starts_on=days[0], ends_on=days[1], matches_planned=len(FIRST_DAY) + len(SECOND_DAY),
    )  # fmt: skip
    event_save(
        scope=scope, event=event, robots=[robot], batteries=[cart.batteries[code] for code in ON_THE_CART],
        chargers=cart.chargers[:CHARGERS],
    )  # fmt: skip
    put_many(scope, [Handling(team=scope.team, event=event)])
    return event


def _matches(scope: Scope, event: Event, robot: Robot, clock: Clock) -> list[Match]:
    return [
        Match(
            team=scope.team,
            event=event,
            robot=robot,
            number=f"{kind[0].upper()}{nth + 1}",
            starts_at=clock.now + minutes * MINUTE,
            importance=kind,
            strength=STRENGTH[nth],
            carrier=CARRIERS[nth % len(CARRIERS)],
        )
        for nth, (minutes, kind) in enumerate(zip((*FIRST_DAY, *SECOND_DAY), IMPORTANCE, strict=True))
    ]


def _top_ups(scope: Scope, event: Event, first: datetime) -> list[Charge]:
    """Every battery of the cart is topped up the evening before, three at a time."""
    chargers = list(event.chargers.order_by("name"))
    rows = []
    for nth, battery in enumerate(event.batteries.order_by("code")):
        turn, place = divmod(nth, len(chargers))
        start = first - timedelta(hours=16 - 2 * turn)
        rows.append(
            Charge(
                team=scope.team,
                battery=battery,
                charger=chargers[place],
                purpose=Charge.Purpose.TOP_UP,
                started_at=start,
                ended_at=start + 95 * MINUTE,
                by=scope.user,
            )
        )
    return rows


def _play(
    scope: Scope, plan: RotationPlan, played: list[Match], cart: Cart, clock: Clock, chance: Random
) -> None:
    """What happened so far: the batteries went out as planned, but for one that was grabbed by mistake."""
    planned = {
        step.match_id: step.battery.code
        for step in RotationStep.objects.filter(plan=plan).select_related("battery")
        if step.battery
    }
    there = {code: cart.batteries[code] for code in ON_THE_CART}
    pit = Pit(scope, chance, cart.chargers[:CHARGERS], hold(there, cart.mohm, SAGS), clock.now)
    for nth, match in enumerate(played):
        asked = planned.get(match.pk, "")
        others = sorted(set(planned.values()) - {asked, "GP-05"})
        grabbed = nth == GRABBED or asked not in pit.held
        held = pit.next_battery(match.starts_at, others) if grabbed else pit.held[asked]
        pit.play(match.starts_at, match.robot, held, match)
    pit.finish()
    put_many(scope, pit.outings)
    put_many(scope, pit.charges)
