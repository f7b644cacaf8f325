"""A pit for tests: an event that is on, eight batteries, three chargers, and matches around a fixed moment."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import UTC, date, datetime, timedelta
from typing import Any

from builds.models import Event, Handling, Match, Outing, Robot, RotationPlan, RotationStep
from inventory.models import Battery, Charge, Charger
from shared.access import Scope
from shared.models import Role
from tests.builds.workshop import Workshop, make_event, make_robot, make_workshop
from tests.compliance.battery_shop import make_battery

#: Sunday 14:00, in the middle of a first day.
NOW = datetime(2026, 3, 1, 14, 0, tzinfo=UTC)


@dataclass
class PitShop:
    shop: Workshop
    event: Event
    robot: Robot
    now: datetime
    batteries: dict[str, Battery] = field(default_factory=dict)
    chargers: dict[str, Charger] = field(default_factory=dict)
    matches: dict[str, Match] = field(default_factory=dict)

    @property
    def scope(self) -> Scope:
        return self.shop.scope

    def at(self, minutes: float) -> datetime:
        """A moment so many minutes from now."""
        return self.now + timedelta(minutes=minutes)

    def match(self, number: str, minutes: float, **values: Any) -> Match:
        made = Match.objects.create(
            team=self.scope.team,
            event=self.event,
            robot=values.pop("robot", self.robot),
            number=number,
            starts_at=self.at(minutes),
            **values,
        )
        self.matches[number] = made
        return made

    def charge(self, code: str, charger: str, start: float, end: float | None = None) -> Charge:
        """A charge from ``start`` minutes from now, until ``end`` or still going on."""
        return Charge.objects.create(
            team=self.scope.team,
            battery=self.batteries[code],
            charger=self.chargers[charger],
            started_at=self.at(start),
            ended_at=None if end is None else self.at(end),
        )

    def outing(self, code: str, match: str, start: float, end: float | None = None, **values: Any) -> Outing:
        """A battery that went out for a match, and came out at ``end`` or is in the robot."""
        return Outing.objects.create(
            team=self.scope.team,
            battery=self.batteries[code],
            robot=self.matches[match].robot,
            match=self.matches[match],
            started_at=self.at(start),
            ended_at=None if end is None else self.at(end),
            in_robot=end is None,
            **values,
        )

    def ready(self, code: str) -> None:
        """Charged to the full an hour ago."""
        self.charge(code, "C", -600, -60)

    def plan(self, **of_match: str | None) -> RotationPlan:
        """A current plan: match number (with an ``m`` before it) -> code of its battery, None for none."""
        plan = RotationPlan.objects.create(
            team=self.scope.team,
            event=self.event,
            asked_at=self.at(-30),
            reason=RotationPlan.Reason.FIRST,
            state=RotationPlan.State.READY,
            current=True,
            content_key="0" * 64,
            told={"headline": "Every match has a battery."},
        )
        for number, code in of_match.items():
            RotationStep.objects.create(
                team=self.scope.team,
                plan=plan,
                match=self.matches[number.removeprefix("m")],
                battery=self.batteries[code] if code else None,
            )
        return plan


def make_pit(role: str = Role.MEMBER, now: datetime = NOW, batteries: int = 8) -> PitShop:
    """An event today and tomorrow; nothing has happened yet."""
    shop = make_workshop(role)
    robot = make_robot(shop, "heron")
    robot.name = "Heron"
    robot.save()
    day: date = now.date()
    event = make_event(shop, "Harbour Cup", day, [robot], ends_on=day + timedelta(days=1))
    made = PitShop(shop, event, robot, now)
    Handling.objects.create(team=shop.team, event=event)
    for i in range(1, batteries + 1):
        code = f"GP-{i:02d}"
        made.batteries[code] = make_battery(shop.team, code, model=shop.block)
    for name in ("A", "B", "C"):
        made.chargers[name] = Charger.objects.create(
            team=shop.team, name=f"Charger {name}", current_a=6.0, absorption_min=60
        )
    return made


def busy_pit(role: str = Role.MEMBER, now: datetime = NOW) -> PitShop:
    """An afternoon: one battery ready, one charging, one cooling, one waiting, one aside, one in the robot."""
    made = make_pit(role, now)
    for number, minutes in (("7", -50), ("8", -8), ("9", 25), ("10", 70), ("11", 130)):
        made.match(number, minutes)
    for code in ("GP-01", "GP-02", "GP-03", "GP-04"):
        made.charge(code, "C", -600 + 20 * int(code[-1]), -300)
    made.outing("GP-03", "7", -65, -38, start_rest_v=12.84)
    made.charge("GP-03", "A", -15)
    made.outing("GP-02", "8", -20, None, start_rest_v=12.88)
    made.charge("GP-05", "B", -40)
    GP06 = made.batteries["GP-06"]
    GP06.state, GP06.state_reason = "quarantine", "Dropped at load-in"
    GP06.save()
    made.plan(m9="GP-01", m10="GP-03", m11="GP-04")
    return made
