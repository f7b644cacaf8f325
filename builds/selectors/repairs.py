"""What past events used up, and the repairs that a coming one may need.

Repairs are learned from what was used (less what was put back) during past events. The exposure of an
event is its robot-matches: robots that went x matches planned. Only events that began after the team's
first line in the ledger count, since before that nothing could be written down. Parts of one kind lend
each other strength: their rates share a gamma prior, and what a part will need follows the negative
binomial that comes of it. Where a kind saw exposure but no repair at all, one Jeffreys prior (half a
repair) is shared by its parts. Parts by the metre are counted in cuts, and a cut is taken as long as the
longest one seen.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from decimal import Decimal
from typing import NamedTuple

from django.db.models import Min
from django.utils import timezone

from builds.models import Event
from inventory.models import Movement, MovementKind, Unit
from shared.planning.reorder import GammaPrior, fit_gamma_prior, posterior_rate, repairs_target

#: Shape of the Jeffreys prior for a Poisson rate, shared by the parts of a kind that never needed a repair.
JEFFREYS_SHAPE = 0.5


class Window(NamedTuple):
    """A past event: when it ran, and its robot-matches."""

    start: datetime
    end: datetime
    exposure: float


class PartFacts(NamedTuple):
    """What the estimate needs of a part."""

    kind: str
    unit: str
    service_frac: float


@dataclass(frozen=True)
class Repairs:
    """The repairs to be expected of one part, and everything they follow from."""

    seen: int
    exposure_seen: float
    exposure_ahead: float
    prior: GammaPrior
    rate: float
    count: int
    cut_m: Decimal | None

    @property
    def quantity(self) -> Decimal:
        """Pieces, or metres for what is sold by the metre."""
        return self.count * (self.cut_m if self.cut_m is not None else Decimal(1))


@dataclass
class UsedAtEvents:
    """What past events used of one part."""

    pieces: Decimal = Decimal(0)
    cuts: int = 0
    longest: Decimal = Decimal(0)


def past_windows(team_ids: Collection[int], today: date) -> dict[int, list[Window]]:
    """Team id -> (from, until, robot-matches) of its past events that the ledger covers."""
    began = dict(
        Movement.objects.filter(team_id__in=team_ids)
        .order_by()
        .values_list("team_id")
        .annotate(first=Min("at"))
    )
    rows = Event.objects.filter(team_id__in=team_ids, ends_on__lt=today, matches_planned__gt=0)
    robots: dict[int, int] = defaultdict(int)
    for (event_id,) in Event.robots.through.objects.filter(event__in=rows).values_list("event_id"):
        robots[event_id] += 1
    found: dict[int, list[Window]] = defaultdict(list)
    for event in rows.order_by("starts_on"):
        start = timezone.make_aware(datetime.combine(event.starts_on, time.min))
        end = timezone.make_aware(datetime.combine(event.ends_on, time.min)) + timedelta(days=1)
        exposure = float(event.matches_planned * robots[event.pk])
        if exposure and event.team_id in began and began[event.team_id] <= start:
            found[event.team_id].append(Window(start, end, exposure))
    return found


def used_at(past: Mapping[int, list[Window]]) -> dict[int, dict[int, UsedAtEvents]]:
    """Team id -> part id -> what its past events used of it."""
    if not past:
        return {}
    windows = [window for rows in past.values() for window in rows]
    moves = Movement.objects.filter(
        team_id__in=list(past),
        kind__in=[MovementKind.USE, MovementKind.RETURN],
        at__gte=min(w.start for w in windows),
        at__lt=max(w.end for w in windows),
    ).order_by()
    found: dict[int, dict[int, UsedAtEvents]] = defaultdict(lambda: defaultdict(UsedAtEvents))
    for team_id, part_id, at, quantity in moves.values_list("team_id", "part_id", "at", "quantity"):
        if any(start <= at < end for start, end, _ in past[team_id]):
            used = found[team_id][part_id]
            used.pieces -= quantity
            used.cuts += 1 if quantity < 0 else -1
            used.longest = max(used.longest, -quantity)
    return found


def expected_repairs(
    part_ids: Iterable[int],
    used: Mapping[int, UsedAtEvents],
    parts: Mapping[int, PartFacts],
    seen: float,
    ahead: float,
) -> dict[int, Repairs]:
    """The repairs to expect of each part; empty when there was no exposure to learn from."""
    if seen <= 0:
        return {}
    by_kind: dict[str, list[int]] = defaultdict(list)
    for part_id in sorted(part_ids):
        by_kind[parts[part_id].kind].append(part_id)
    found: dict[int, Repairs] = {}
    for ids in by_kind.values():
        counts = [times_needed(used.get(i), parts[i].unit) for i in ids]
        exposures = [seen] * len(ids)
        prior = (
            fit_gamma_prior(counts, exposures) if sum(counts) else GammaPrior(JEFFREYS_SHAPE / len(ids), 0.0)
        )
        targets = repairs_target(prior, counts, exposures, ahead, [parts[i].service_frac for i in ids])
        rates = posterior_rate(prior, counts, exposures)
        for part_id, count, rate, target in zip(ids, counts, rates, targets, strict=True):
            cut = used[part_id].longest if parts[part_id].unit == Unit.METRE and part_id in used else None
            if parts[part_id].unit == Unit.METRE and cut is None:
                cut = Decimal(0)
            found[part_id] = Repairs(count, seen, ahead, prior, float(rate), int(target), cut)
    return found


def times_needed(used: UsedAtEvents | None, unit: str) -> int:
    """How often a part was needed: pieces, or cuts for what is sold by the metre."""
    if used is None:
        return 0
    return max(0, used.cuts if unit == Unit.METRE else int(used.pieces))
