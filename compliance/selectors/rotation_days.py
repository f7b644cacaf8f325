"""The rotation of an event as bars: what every battery does over each day, done and planned."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
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
#: A break between matches from which on the drawing begins anew (our choice).
BREAK = timedelta(hours=4)


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
    blocks = _blocks(played)
    matches = f"{len(played)} match{'' if len(played) == 1 else 'es'}"
    summary = f"{matches} in {len(blocks)} block{'s' if len(blocks) != 1 else ''}. "
    if drawn.view is not None:
        out = len({step.battery.pk for step in drawn.view.ahead if step.battery})
        summary += f"{out} batter{'ies are' if out != 1 else 'y is'} still to go out. "
    return RotationChart(
        title=f"Batteries at {event.name}",
        days=[_day(block, bars, drawn) for block in blocks],
        summary=f"{summary}The table below lists every step." if played else "",
        now=timezone.localtime(drawn.now),
        chart_id="rotation",
    )


def _blocks(matches: Sequence[Match]) -> list[list[Match]]:
    """Matches with no long break between them: the days of an event, whatever the clock says at midnight."""
    blocks: list[list[Match]] = []
    for match in matches:
        if not blocks or match.starts_at - blocks[-1][-1].starts_at > BREAK:
            blocks.append([])
        blocks[-1].append(match)
    return blocks


def _day(matches: Sequence[Match], bars: Mapping[str, Sequence[RotationBar]], drawn: Drawn) -> RotationDay:
    first, last = matches[0].starts_at, matches[-1].starts_at
    handling = drawn.handling
    before, back, cool = (
        timedelta(minutes=m) for m in (handling.ready_before_min, handling.back_after_min, handling.cool_min)
    )
    start = timezone.localtime(min(first - before, *_seen(first, last, drawn)) - EDGE)
    end = timezone.localtime(last + back + cool + EDGE)
    inside = {code: tuple(_within(row, start, end)) for code, row in bars.items()}
    idle = [code for code, row in inside.items() if not row]
    local = timezone.localtime(first)
    return RotationDay(
        label=f"{local:%A} {local.day} {local:%B}",
        start=start,
        end=end,
        lanes=[RotationLane(code, row) for code, row in inside.items() if row],
        matches=[RotationMark(timezone.localtime(match.starts_at), match.number) for match in matches],
        note=f"Nothing to do for {', '.join(idle)}." if idle else "",
    )


def _seen(first: datetime, last: datetime, drawn: Drawn) -> Iterable[datetime]:
    """What belongs in the picture before the first match: its charges, and now; never the night."""
    early = first - timedelta(hours=3)
    yield first
    if early <= drawn.now <= last:
        yield drawn.now
    for step in drawn.view.steps if drawn.view else ():
        if step.charge_from and early <= step.charge_from <= last:
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
    free, charging = row.ready_at, row.state == CartState.CHARGING
    for step in drawn.view.ahead:
        if step.battery is None or step.battery.pk != row.battery.pk or step.done is not None:
            continue
        yield from _step(step, free, drawn, named=not charging)
        free, charging = None, False


def _step(step: StepView, free: datetime | None, drawn: Drawn, *, named: bool) -> Iterable[RotationBar]:
    """One outing of the plan with the charge before it; one that is going on is named by what was logged of it."""
    back = step.match.starts_at + timedelta(minutes=drawn.handling.back_after_min)
    if step.charge_from and step.charge_until:
        charger = step.charger.name if step.charger and named else ""
        yield RotationBar("charge", step.charge_from, step.charge_until, charger, planned=True)
        if step.ready_at:
            yield RotationBar("rest", step.charge_until, step.ready_at, planned=True)
    ready = step.ready_at or free
    if ready is not None and ready < step.swap_by:
        # From now on only: how long it had been ready before says nothing.
        yield RotationBar("ready", max(ready, min(drawn.now, step.swap_by)), step.swap_by, planned=True)
    yield RotationBar("robot", step.swap_by, back, step.match.number, planned=True)
    yield RotationBar("cool", back, back + timedelta(minutes=drawn.handling.cool_min), planned=True)
