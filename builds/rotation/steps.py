"""A plan of the kernel becomes the rows that are kept of it, beside what happened already."""

from __future__ import annotations

import math
from collections.abc import Mapping
from datetime import datetime, timedelta

from builds.models import Match, Outing, RotationPlan, RotationStep
from builds.rotation.assemble import Assembled
from builds.selectors.cart import CartRow
from shared.planning.rotation import Plan


def steps_of(
    plan: RotationPlan, found: Assembled, answer: Plan, before: Mapping[int, int | None]
) -> list[RotationStep]:
    """The steps to write; ``before``: match -> battery in the plan before, for those it had a step of."""
    behind = [_fixed(plan, match, outing) for match, outing in found.situation.behind if not match.called_off]
    running = set(found.charging)
    ahead = []
    for m, match in enumerate(found.situation.ahead):
        b = int(answer.battery[m])
        row = found.situation.cart[b] if b >= 0 else None
        step = _step(plan, found, answer, m, match, row)
        if b in running and step.charger_id is None:
            _add_running(step, found.situation.cart[b])
        running.discard(b)
        was = before.get(match.pk)
        step.was_id = was if was is not None and was != step.battery_id else None
        ahead.append(step)
    return [*behind, *ahead]


def changed_matches(found: Assembled, answer: Plan, before: Mapping[int, int | None]) -> list[int]:
    """The matches whose battery is another than before, or that the plan before did not have."""
    changed = []
    for m, match in enumerate(found.situation.ahead):
        b = int(answer.battery[m])
        now = found.situation.cart[b].battery.pk if b >= 0 else None
        if match.pk not in before or before[match.pk] != now:
            changed.append(match.pk)
    return changed


def _fixed(plan: RotationPlan, match: Match, outing: Outing | None) -> RotationStep:
    return RotationStep(
        team_id=plan.team_id,
        plan=plan,
        match=match,
        battery_id=outing.battery_id if outing else None,
        fixed=True,
        lowest_v=outing.lowest_v if outing else None,
    )


def _step(
    plan: RotationPlan, found: Assembled, answer: Plan, m: int, match: Match, row: CartRow | None
) -> RotationStep:
    c = int(answer.charger[m])
    return RotationStep(
        team_id=plan.team_id,
        plan=plan,
        match=match,
        battery=row.battery if row else None,
        charge_frac=_known(answer.charge_frac[m]),
        lowest_v=_known(answer.lowest_v[m], 3),
        margin_v=_known(answer.margin_v[m], 3),
        charger=found.situation.places[c].charger if c >= 0 else None,
        charge_from=_whole(found.moment(answer.charge_from_min[m])),
        charge_until=_whole(found.moment(answer.charge_until_min[m])),
        ready_at=_whole(found.moment(answer.ready_min[m])) if row else None,
    )


def _add_running(step: RotationStep, row: CartRow) -> None:
    """The first match of a battery whose charge runs already: that is the charge before it."""
    if row.charge is not None and row.next_at is not None:
        step.charger_id = row.charge.charger_id
        step.charge_from = row.charge.started_at
        step.charge_until = max(row.next_at, row.charge.started_at)


def _known(value: float, digits: int = 4) -> float | None:
    number = float(value)
    return round(number, digits) if math.isfinite(number) else None


def _whole(moment: datetime | None) -> datetime | None:
    """Nobody acts by the second: the minute it falls in."""
    if moment is None:
        return None
    return (moment + timedelta(seconds=30)).replace(second=0, microsecond=0)
