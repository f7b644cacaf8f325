"""The past event with its matches, outings and repairs, and the coming one."""

from __future__ import annotations

from datetime import timedelta
from random import Random

from builds.models import Event, Match, Robot, Season
from builds.services.events import event_save
from compliance.demo.batteries import SAGS, Cart
from compliance.demo.clock import GOODS_BY, NEXT_EVENT, PAST_EVENT, Clock
from compliance.demo.pit import Pit, hold
from compliance.demo.rows import put_many
from shared.access import Scope

PAST_NAME, NEXT_NAME = "Harbour Scrimmage", "Estuary League, second meet"
MATCHES = 10
#: Days of practice, from today, and the batteries that go out then.
PRACTICE_DAYS = (-44, -34, -24, -20, -10)
PRACTISED = ("GP-01", "GP-02", "GP-04", "GP-06", "GP-08")


def make_events(
    scope: Scope,
    robots: list[Robot],
    season: Season,
    cart: Cart,
    clock: Clock,
    chance: Random,
) -> None:
    """One past event that was played through and one that is twelve days away."""
    past = _event(scope, PAST_NAME, PAST_EVENT, season, clock)
    event_save(scope=scope, event=past, robots=robots)
    coming = _event(scope, NEXT_NAME, NEXT_EVENT, season, clock)
    coming.goods_by = clock.day(GOODS_BY)
    event_save(scope=scope, event=coming, robots=robots)
    matches = [m for i, robot in enumerate(robots) for m in _matches(scope, past, robot, i, clock)]
    _play(scope, put_many(scope, matches), cart, clock, chance)


def _event(scope: Scope, name: str, days: tuple[int, int], season: Season, clock: Clock) -> Event:
    return Event(
        team=scope.team,
        name=name,
        season=season,
        place="Old Boat Hall, Gull Point",
        starts_on=clock.day(days[0]),
        ends_on=clock.day(days[1]),
        matches_planned=MATCHES,
    )


def _matches(scope: Scope, event: Event, robot: Robot, nth: int, clock: Clock) -> list[Match]:
    rows = []
    for n in range(MATCHES):
        day, slot = PAST_EVENT[n // 6], n % 6
        late = n >= MATCHES - 2
        rows.append(
            Match(
                team=scope.team,
                event=event,
                robot=robot,
                number=f"{'K' if late else 'R'}{n + 1}{'ab'[nth]}",
                starts_at=clock.at(day, 9 + slot, 20 * nth),
                importance=Match.Importance.KNOCKOUT if late else Match.Importance.ROUND,
            )
        )
    return rows


def _play(scope: Scope, matches: list[Match], cart: Cart, clock: Clock, chance: Random) -> None:
    """Batteries that were there long enough go out in turn and are charged after."""
    began = matches[0].starts_at.date()
    there = {
        code: cart.batteries[code]
        for code in cart.played
        if cart.batteries[code].acquired_on < began - timedelta(days=30)
    }
    pit = Pit(scope, chance, cart.chargers, hold(there, cart.mohm, SAGS), clock.now)
    for match in sorted(matches, key=lambda m: m.starts_at):
        pit.play(match.starts_at, match.robot, pit.next_battery(match.starts_at, there), match)
    pit.finish()
    put_many(scope, pit.outings)
    put_many(scope, pit.charges)


def make_practice(scope: Scope, robot: Robot, cart: Cart, clock: Clock, chance: Random) -> None:
    """Evenings of driving practice, each of the same batteries once an evening."""
    for day in PRACTICE_DAYS:
        chosen = {code: cart.batteries[code] for code in PRACTISED}
        pit = Pit(scope, chance, cart.chargers, hold(chosen, cart.mohm, SAGS), clock.now)
        for nth, code in enumerate(PRACTISED):
            pit.play(clock.at(day, 17) + nth * timedelta(minutes=30), robot, pit.held[code])
        pit.finish()
        put_many(scope, pit.outings)
        put_many(scope, pit.charges)
