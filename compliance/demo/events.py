"""The past event with its matches, outings and repairs, and the coming one."""

from __future__ import annotations

from datetime import timedelta
from random import Random

from builds.models import Event, Match, Outing, Robot, Season
from builds.services.events import event_save
from compliance.demo.clock import GOODS_BY, NEXT_EVENT, PAST_EVENT, Clock
from compliance.demo.rows import put_many
from inventory.models import Battery
from shared.access import Scope

PAST_NAME, NEXT_NAME = "Harbour Scrimmage", "Estuary League, second meet"
MATCHES = 10


def make_events(
    scope: Scope,
    robots: list[Robot],
    season: Season,
    batteries: dict[str, Battery],
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
    put_many(scope, matches)
    put_many(scope, _outings(scope, matches, batteries, chance))


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


def _outings(
    scope: Scope, matches: list[Match], batteries: dict[str, Battery], chance: Random
) -> list[Outing]:
    """Batteries go out in turn; those that came after the event did not."""
    turn = [b for b in batteries.values() if b.acquired_on < matches[0].starts_at.date() - timedelta(days=30)]
    return [
        Outing(
            team=scope.team,
            battery=turn[n % len(turn)],
            robot=match.robot,
            match=match,
            started_at=match.starts_at + timedelta(minutes=1),
            start_rest_v=round(chance.uniform(12.85, 12.98), 2),
            end_rest_v=round(chance.uniform(12.2, 12.45), 2),
            lowest_v=round(chance.uniform(8.4, 9.8), 1),
            used_ah=round(chance.uniform(3.0, 5.5), 1),
            by=scope.user,
        )
        for n, match in enumerate(sorted(matches, key=lambda m: m.starts_at))
    ]
