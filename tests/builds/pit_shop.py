"""A pit for tests of rotation: one robot, measured and charged batteries, chargers, an event with matches ahead."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from typing import Any

from django.utils import timezone

from builds.models import Event, Handling, Match, Outing, Robot, RotationPlan
from builds.rotation.judged import Judged
from builds.rotation.situation import Situation, situation
from builds.selectors.cart import CartRow, cart
from builds.services.rotation import plan_ask
from inventory.models import Battery, BatteryState, Charge, Charger, Method, Reading
from shared.access import Scope
from shared.models import Role
from tests.builds.match_shop import MatchShop, make_match_shop

NOW = datetime(2026, 10, 10, 8, 0, tzinfo=UTC)
MINUTE = timedelta(minutes=1)


@dataclass
class Pit:
    """The rows by name; moments as minutes after ``now``."""

    shop: MatchShop
    now: datetime
    event: Event
    batteries: list[Battery] = field(default_factory=list)
    chargers: list[Charger] = field(default_factory=list)
    matches: list[Match] = field(default_factory=list)
    judged: Judged = field(default_factory=Judged)

    @property
    def scope(self) -> Scope:
        return self.shop.scope

    @property
    def robot(self) -> Robot:
        robot: Robot = self.shop["robot"]
        return robot

    def at(self, minutes: float) -> datetime:
        return self.now + minutes * MINUTE

    def add_battery(self, mohm: float | None = 13.0, *, charged: bool = True, **values: Any) -> Battery:
        """A battery, measured last month and fully charged in the night."""
        team, number = self.scope.team, len(self.batteries) + 1
        battery = Battery.objects.create(
            team=team, code=f"P{number:02d}", model=self.shop["AGM"], acquired_on=self.now.date(), **values
        )
        if mohm is not None:
            Reading.objects.create(team=team, battery=battery, taken_at=self.at(-43200), resistance_mohm=mohm,
                                   method=Method.TWO_PULSE, instrument="Meter A")  # fmt: skip
        if charged:
            self.charged(battery, -720, -120)
        self.batteries.append(battery)
        return battery

    def add_charger(self, current_a: float | None = 6.0, **values: Any) -> Charger:
        charger = Charger.objects.create(
            team=self.scope.team, name=f"Charger {len(self.chargers) + 1}", current_a=current_a, **values
        )
        self.chargers.append(charger)
        return charger

    def add_match(self, minutes: float, **values: Any) -> Match:
        number = values.pop("number", str(len(self.matches) + 1))
        match = Match.objects.create(
            team=self.scope.team, event=self.event, robot=values.pop("robot", self.robot), number=number,
            starts_at=self.at(minutes), **values,
        )  # fmt: skip
        self.matches.append(match)
        return match

    def charged(
        self, battery: Battery, since: float, until: float | None, charger: Charger | None = None
    ) -> Charge:
        """A charge; open without an end."""
        on = (
            charger
            or Charger.objects.get_or_create(
                team=self.scope.team, name="Shop charger", defaults={"current_a": 6.0, "archived": True}
            )[0]
        )
        return Charge.objects.create(
            team=self.scope.team, battery=battery, charger=on, started_at=self.at(since),
            ended_at=None if until is None else self.at(until),
        )  # fmt: skip

    def went_out(self, battery: Battery, minutes: float, match: Match | None = None, **values: Any) -> Outing:
        """An outing as its row stands; in the robot unless an end is given."""
        ended = values.pop("until", None)
        return Outing.objects.create(
            team=self.scope.team, battery=battery, robot=self.robot, match=match, started_at=self.at(minutes),
            ended_at=None if ended is None else self.at(ended), in_robot=values.pop("in_robot", ended is None),
            **values,
        )  # fmt: skip

    def row(self, battery: Battery, minutes: float = 0.0) -> CartRow:
        """The battery on the cart so many minutes from now."""
        return next(r for r in cart(self.scope, self.event, self.at(minutes)) if r.battery == battery)

    def stands(self, minutes: float = 0.0) -> Situation:
        return situation(self.scope, self.event, self.judged, self.at(minutes))

    def plan(self, minutes: float = 0.0, **values: Any) -> RotationPlan:
        return plan_ask(
            scope=self.scope, event=self.event, judged=self.judged, now=self.at(minutes), **values
        )


def make_pit(
    batteries: int = 4,
    chargers: int = 2,
    matches: int = 6,
    *,
    gap_min: float = 60.0,
    now: datetime = NOW,
    role: str = Role.LEAD,
) -> Pit:
    """An event of a day: matches ``gap_min`` apart, the first in an hour; each battery has 1 mΩ more than the last."""
    shop = make_match_shop(role)
    # The two batteries of the shop stay at home.
    Battery.objects.update(archived=True)
    day = timezone.localdate(now)
    event = Event.objects.create(team=shop.scope.team, name="Ebb Trophy", starts_on=day, ends_on=day)
    event.robots.add(shop["robot"])
    pit = Pit(shop, now, event)
    for i in range(batteries):
        pit.add_battery(12.0 + i)
    for _ in range(chargers):
        pit.add_charger()
    for i in range(matches):
        pit.add_match(60.0 + gap_min * i)
    return pit


__all__ = ["MINUTE", "NOW", "BatteryState", "Handling", "Pit", "make_pit"]
