"""What needs doing before the next event: batteries for the pit, orders for the lead, teams for the mentor."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal
from itertools import groupby

from django.db.models import Count

from builds.models import Event, Robot
from builds.selectors.events import event_next, events_next
from compliance.models import Flag, FlagState, Severity, SubjectKind
from compliance.rules.base import SEVERITY_ORDER
from compliance.selectors.flags import MarkedFlag, flags_open, flags_open_of, with_waivers
from compliance.selectors.stock_cases import StockCase, stock_cases
from inventory.models import Battery, BatteryState, Part
from inventory.selectors.batteries import BatteryRow, battery_table
from inventory.selectors.supply import OrderAdvice
from shared.access import Scope, memberships_of
from shared.models import Membership, Role, User

#: Flags of these severities keep a battery in the pit until somebody has looked.
HOLD = (Severity.STOP, Severity.FIX)


@dataclass(frozen=True)
class Countdown:
    """The event that comes next and how far away it is; 0 days or fewer: it is on."""

    event: Event
    days: int
    goods_days: int | None

    @property
    def is_on(self) -> bool:
        return self.days <= 0


@dataclass(frozen=True)
class Held:
    """A battery that stays here, and why."""

    row: BatteryRow
    why: str
    flag: MarkedFlag | None = None


@dataclass
class BatteryBoard:
    """The batteries as the pit needs them."""

    fit: list[BatteryRow] = field(default_factory=list)
    held: list[Held] = field(default_factory=list)
    unjudged: list[Held] = field(default_factory=list)
    charging: list[BatteryRow] = field(default_factory=list)

    def __bool__(self) -> bool:
        return bool(self.fit or self.held or self.unjudged or self.charging)


@dataclass(frozen=True)
class Order:
    part: Part
    short: Decimal
    advice: OrderAdvice


@dataclass(frozen=True)
class OrderDay:
    """Orders whose last day is the same; ``too_late``: placed today they still arrive after the goods are due."""

    day: date
    too_late: bool
    orders: tuple[Order, ...]

    @property
    def cost(self) -> Decimal:
        return sum((order.advice.cost for order in self.orders), Decimal(0))


@dataclass(frozen=True)
class Orders:
    days: tuple[OrderDay, ...]
    unsold: tuple[StockCase, ...]

    @property
    def count(self) -> int:
        return sum(len(day.orders) for day in self.days)


@dataclass(frozen=True)
class TeamLine:
    """A team as its mentor compares it with the others."""

    membership: Membership
    counts: dict[str, int]
    worst: tuple[MarkedFlag, ...]
    countdown: Countdown | None

    @property
    def open(self) -> int:
        return sum(self.counts.values())

    @property
    def rank(self) -> tuple[int, ...]:
        """The most serious first; of equals the one whose event is nearer."""
        days = self.countdown.days if self.countdown else 10_000
        return (*(-self.counts[severity] for severity in SEVERITY_ORDER), days)


def countdown(scope: Scope, today: date) -> Countdown | None:
    event = event_next(scope, today)
    return _counted(event, today) if event else None


def _counted(event: Event, today: date) -> Countdown:
    goods = (event.goods_by - today).days if event.goods_by else None
    return Countdown(event, (event.starts_on - today).days, goods)


def battery_board(scope: Scope, today: date) -> BatteryBoard:
    """Every battery in one of four piles: fit to go out, not to, nobody can say, on a charger."""
    flags: dict[int, MarkedFlag] = {}
    for flag in flags_open(scope, today).filter(
        subject_kind=SubjectKind.BATTERY, severity__in=(*HOLD, Severity.UNKNOWN), waived=False
    ):
        flags.setdefault(flag.subject_id, flag)
    board = BatteryBoard()
    for row in battery_table(scope):
        battery = row.battery
        if battery.state == BatteryState.RETIRED:
            continue
        flag_of = flags.get(battery.pk)
        if battery.state != BatteryState.IN_SERVICE:
            board.held.append(Held(row, f"{battery.get_state_display()}: {battery.state_reason}", flag_of))
        elif flag_of is not None and flag_of.severity in HOLD:
            board.held.append(Held(row, flag_of.message, flag_of))
        elif row.on_charger is not None:
            board.charging.append(row)
        elif flag_of is not None:  # without a baseline nobody knows that it is fit
            board.unjudged.append(Held(row, flag_of.message, flag_of))
        else:
            board.fit.append(row)
    return board


def orders_to_place(scope: Scope, today: date) -> Orders:
    """What is short before the next event, as orders by the last day on which each may be placed."""
    orders: list[Order] = []
    unsold: list[StockCase] = []
    for case in stock_cases([scope.team.pk], today=today):
        if case.event is None or case.short <= 0:
            continue
        advice = case.advice()
        if advice is None:
            unsold.append(case)
        else:
            orders.append(Order(case.part, case.short, advice))
    return Orders(tuple(_by_day(orders)), tuple(unsold))


def _by_day(orders: list[Order]) -> Iterable[OrderDay]:
    def when(order: Order) -> tuple[bool, date]:
        return order.advice.in_time, order.advice.last_day

    ordered = sorted(orders, key=lambda order: (*when(order), order.part.code))
    for (in_time, day), group in groupby(ordered, key=when):
        yield OrderDay(day, not in_time, tuple(group))


def team_lines(user: User, today: date, most: int = 3) -> list[TeamLine]:
    """The mentor's teams, the one that needs a visit first on top; the queries do not grow with the teams."""
    mentored = [m for m in memberships_of(user) if m.role == Role.MENTOR]
    ids = [m.team_id for m in mentored]
    counts = {pk: dict.fromkeys(map(str, SEVERITY_ORDER), 0) for pk in ids}
    open_flags = with_waivers(Flag.objects.filter(team_id__in=ids, state=FlagState.OPEN), today)
    tally = (
        open_flags.filter(waived=False).order_by().values_list("team_id", "severity").annotate(n=Count("pk"))
    )
    for team_id, severity, number in tally:
        counts[team_id][severity] = number
    worst: dict[int, list[MarkedFlag]] = {pk: [] for pk in ids}
    for flag in flags_open_of(ids, today).filter(waived=False, severity=Severity.STOP):
        if len(worst[flag.team_id]) < most:
            worst[flag.team_id].append(flag)
    events = events_next(ids, today)
    lines = [
        TeamLine(
            m,
            counts[m.team_id],
            tuple(worst[m.team_id]),
            _counted(events[m.team_id], today) if m.team_id in events else None,
        )
        for m in mentored
    ]
    return sorted(lines, key=lambda line: line.rank)


def is_new(scope: Scope) -> bool:
    """Has the team entered nothing yet that could be judged?"""
    return not any(scope.rows(model).exists() for model in (Battery, Part, Robot))
