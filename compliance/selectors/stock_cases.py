"""The facts of the stock rules: what every part is wanted for before the next event, and what there is of it.

A part that nobody lacks and of which no past event tells is not judged and not flagged: without exposure
there is no rate, and a flag on every part of a new team would hide the real ones. The event page says that
repairs are not known yet.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal

from builds.models import Event
from builds.selectors.demand import EventDemand, PartDemand, demand_of_events
from builds.selectors.events import events_to_supply
from inventory.models import Offer, Part
from inventory.selectors.stock import Place, offers_by_part, places_by_part
from inventory.selectors.supply import OrderAdvice, order_advice

#: An event further away than this is not judged yet: lacks of a robot that is still being built are no news.
HORIZON_DAYS = 60


@dataclass(frozen=True)
class StockCase:
    """One part of a team; ``event`` and ``demand`` are None while no event is near."""

    part: Part
    places: tuple[Place, ...]
    offers: tuple[Offer, ...]
    event: EventDemand | None
    demand: PartDemand | None
    today: date

    @property
    def on_hand(self) -> Decimal:
        return sum((place.quantity for place in self.places), Decimal(0))

    @property
    def wanted(self) -> Decimal:
        return self.demand.total if self.demand else Decimal(0)

    @property
    def short(self) -> Decimal:
        return max(Decimal(0), self.wanted - self.on_hand)

    @property
    def below_floor(self) -> Decimal:
        return max(Decimal(0), self.part.minimum_stock - self.on_hand)

    @property
    def goods_by(self) -> date:
        """The day by which goods must be here: the event's own, else its first day."""
        assert self.event is not None
        return self.event.event.goods_by or self.event.event.starts_on

    def advice(self) -> OrderAdvice | None:
        """The order that covers what the event lacks."""
        return order_advice(self.offers, short=self.short, goods_by=self.goods_by, today=self.today)


def stock_cases(
    team_ids: Collection[int], *, today: date, horizon_days: Mapping[int, float] | None = None
) -> Iterator[StockCase]:
    """Every part that an event asks for or that has a floor; the queries do not grow with teams or robots."""
    demands = _demands(team_ids, today, horizon_days or {})
    places = places_by_part(team_ids)
    offers = offers_by_part(team_ids)
    wanted = {part_id: demand for event in demands.values() for part_id, demand in event.parts.items()}
    for part in Part.objects.filter(team_id__in=team_ids, archived=False).order_by("team_id", "code"):
        demand = wanted.get(part.pk)
        if demand is None and part.minimum_stock <= 0:
            continue
        yield StockCase(
            part=part,
            places=tuple(places.get(part.pk, ())),
            offers=tuple(offers.get(part.pk, ())),
            event=demands.get(part.team_id),
            demand=demand,
            today=today,
        )


def _demands(
    team_ids: Collection[int], today: date, horizon_days: Mapping[int, float]
) -> dict[int, EventDemand]:
    """Team id -> the demand of its next event, if that is within the team's horizon."""
    near: list[Event] = [
        event
        for team_id, event in events_to_supply(team_ids, today).items()
        if event.starts_on <= today + timedelta(days=horizon_days.get(team_id, HORIZON_DAYS))
    ]
    found = demand_of_events(near, today=today) if near else {}
    return {demand.event.team_id: demand for demand in found.values()}
