"""The rotation of an event as bars: what every battery does over each day, done and planned."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from itertools import pairwise

from django.utils import timezone

from builds.models import Event, Handling, Match, Outing
from builds.selectors.cart import CartRow, CartState
from builds.selectors.cart_rows import out_of_robot
from builds.selectors.rotation import PlanView, StepView
from inventory.models import Charge
from shared.access import Scope
from shared.web.charts import RotationBar, RotationChart, RotationDay, RotationLane, RotationMark

#: Room on the axis before the first and after the last thing of a day.
EDGE = timedelta(minutes=15)


@dataclass(frozen=True)
class Drawn:
    """What the bars are drawn from."""

    view: PlanView | None
    cart: Sequence[CartRow]
    matches: Sequence[Match]
    outings: Sequence[Outing]
    charges: Sequence[Charge]
    handling: Handling
    now: datetime


def charges_during(scope: Scope, event: Event, cart: Sequence[CartRow]) -> list[Charge]:
    """Charges of the batteries on the cart that began on a day of the event; one query."""
    days = (event.starts_on, event.ends_on)
    rows = scope.rows(Charge).filter(battery__in=[row.battery for row in cart], started_at__date__range=days)
    return list(rows.select_related("charger").order_by("started_at", "pk"))


def rotation_picture(event: Event, drawn: Drawn) -> RotationChart:
    """The chart of the event; reads nothing."""
    bars = {row.battery.code: _bars(row, drawn) for row in drawn.cart}
    played = [match for match in drawn.matches if not match.called_off]
    days = []
    for day in sorted({timezone.localdate(match.starts_at) for match in played}):
        todays = [match for match in played if timezone.localdate(match.starts_at) == day]
        days.append(_day(day, todays, bars, drawn))
    out = len({step.battery.pk for step in drawn.view.ahead if step.battery}) if drawn.view else 0
    summary = (
        f"{len(played)} matches on {len(days)} day{'s' if len(days) != 1 else ''}; "
        f"{out} batteries are still to go out. The table below lists every step."
    )
    return RotationChart(
        title=f"Batteries at {event.name}",
        days=days,
        summary=summary,
        now=timezone.localtime(drawn.now),
        chart_id="rotation",
    )


def _day(
    day: date, matches: Sequence[Match], bars: Mapping[str, Sequence[RotationBar]], drawn: Drawn
) -> RotationDay:
    first, last = matches[0].starts_at, matches[-1].starts_at
    ready, back = (
        timedelta(minutes=m) for m in (drawn.handling.ready_before_min, drawn.handling.back_after_min)
    )
    start = min(first - ready, *_seen(day, first, drawn)) - EDGE
    end = last + back + timedelta(minutes=drawn.handling.cool_min) + EDGE
    start, end = timezone.localtime(start), timezone.localtime(end)
    lanes = [RotationLane(code, tuple(_within(row, start, end))) for code, row in bars.items()]
    marks = [RotationMark(timezone.localtime(match.starts_at), match.number) for match in matches]
    return RotationDay(f"{matches[0].event.name}, {start:%A}", start, end, lanes, marks)


def _seen(day: date, first: datetime, drawn: Drawn) -> Iterable[datetime]:
    """Charges before the day's first match that it rests on, so that they are in the picture; never the night."""
    early = first - timedelta(hours=3)
    yield first
    for step in drawn.view.steps if drawn.view else ():
        if step.charge_from and timezone.localdate(step.charge_from) == day and step.charge_from >= early:
            yield step.charge_from


def _within(bars: Iterable[RotationBar], start: datetime, end: datetime) -> Iterable[RotationBar]:
    for bar in bars:
        cut = replace(bar, start=max(bar.start, start), end=min(bar.end, end))
        if cut.end > cut.start:
            yield cut


def _bars(row: CartRow, drawn: Drawn) -> list[RotationBar]:
    """Everything one battery does, in order; where two states meet, the later one cuts the earlier one short."""
    bars = [*_done(row, drawn), *_planned(row, drawn)]
    bars.sort(key=lambda bar: (bar.start, bar.end))
    cut = [replace(bar, end=min(bar.end, after.start)) for bar, after in pairwise(bars)]
    shown = [bar for bar in [*cut, *bars[-1:]] if bar.end > bar.start]
    local = timezone.localtime
    return [replace(bar, start=local(bar.start), end=local(bar.end)) for bar in shown]


def _done(row: CartRow, drawn: Drawn) -> Iterable[RotationBar]:
    """What was logged: outings with the cooling after them, charges with the rest after them."""
    cool, rest = (timedelta(minutes=m) for m in (drawn.handling.cool_min, drawn.handling.rest_min))
    for outing in drawn.outings:
        if outing.battery_id != row.battery.pk:
            continue
        out = out_of_robot(outing, drawn.handling)
        if outing.in_robot:
            out = max(out, drawn.now)
        yield RotationBar("robot", outing.started_at, out, outing.match.number if outing.match else "")
        yield RotationBar("cool", out, out + cool, planned=out > drawn.now)
    for charge in drawn.charges:
        if charge.battery_id != row.battery.pk:
            continue
        until = charge.ended_at or (
            row.next_at if row.state == CartState.CHARGING and row.next_at else drawn.now
        )
        until = max(until, charge.started_at)
        yield RotationBar("charge", charge.started_at, until, charge.charger.name)
        yield RotationBar("rest", until, until + rest, planned=until > drawn.now)


def _planned(row: CartRow, drawn: Drawn) -> Iterable[RotationBar]:
    """What the plan has for it: a charge, a rest, ready, in the robot, cooling."""
    if drawn.view is None:
        return
    free = row.ready_at
    for step in drawn.view.ahead:
        if step.battery is None or step.battery.pk != row.battery.pk or step.done is not None:
            continue
        yield from _step(step, free, drawn)
        free = None


def _step(step: StepView, free: datetime | None, drawn: Drawn) -> Iterable[RotationBar]:
    back = step.match.starts_at + timedelta(minutes=drawn.handling.back_after_min)
    if step.charge_from and step.charge_until:
        yield RotationBar(
            "charge",
            step.charge_from,
            step.charge_until,
            step.charger.name if step.charger else "",
            planned=True,
        )
        if step.ready_at:
            yield RotationBar("rest", step.charge_until, step.ready_at, planned=True)
    ready = step.ready_at or free
    if ready is not None and ready < step.swap_by:
        # From now on only: how long it had been ready before says nothing.
        yield RotationBar("ready", max(ready, min(drawn.now, step.swap_by)), step.swap_by, planned=True)
    yield RotationBar("robot", step.swap_by, back, step.match.number, planned=True)
    yield RotationBar("cool", back, back + timedelta(minutes=drawn.handling.cool_min), planned=True)
