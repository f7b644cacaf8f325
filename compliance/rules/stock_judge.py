"""What the stock rules say of one part: the verdict in words and the working behind it.

Severity of a part that is short before an event:
- nothing that is ordered today would be there in time: ``stop`` if a robot's build lacks it, ``fix`` if only
  the spares for repairs are short;
- it can still be ordered in time: ``fix`` when the last day to order is within the pack's ``soon_days``, else
  ``watch``;
- nobody is known to sell it: cannot judge, since no lead time says whether it would come in time.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import timedelta
from decimal import Decimal

from builds.selectors.demand import PartDemand
from compliance.models import Severity
from compliance.selectors.stock_cases import StockCase
from inventory.selectors.supply import OrderAdvice, order_advice
from inventory.services.quantities import shown

SOURCE_DEMAND = (
    "Lacks: bill of materials of the current builds. Repairs: gamma-Poisson model, predictive negative "
    "binomial (Gaver and O'Muircheartaigh, Technometrics 29 (1987) 1-15; predictive form from memory). "
    "Order up to the target in whole packs: common practice"
)
FORMULA = "short = lacking + repairs - on hand; last day to order = day goods are due - lead time"
#: A working names so many reasons one by one; the bill of materials has them all.
MOST_USES = 12
SOURCE_FLOOR = "The team's own minimum stock of this part"


@dataclass(frozen=True)
class Verdict:
    """One finding: how bad, in a sentence, with the figures compared and the numbers put in."""

    severity: Severity
    message: str
    value: float
    limit: float
    unit: str
    formula: str
    inputs: tuple[tuple[str, str], ...]
    source: str


def short_verdict(case: StockCase, *, soon_days: float) -> Verdict | None:
    """Short before the event, and somebody sells it."""
    if case.short <= 0 or case.event is None or case.demand is None:
        return None
    advice = case.advice()
    if advice is None:
        return None
    lead = f"{shown(case.part, case.short)} short before {case.event.event.name}"
    if advice.in_time:
        soon = advice.last_day <= case.today + timedelta(days=soon_days)
        severity = Severity.FIX if soon else Severity.WATCH
        message = f"{lead}: order {advice.sentence()} by {advice.last_day}."
    else:
        severity = Severity.STOP if case.demand.lacking > case.on_hand else Severity.FIX
        message = (
            f"{lead}: goods are due {case.goods_by}, but the fastest order ({advice.sentence()}) placed "
            f"today arrives {advice.arrives_on}."
        )
    return _demand_verdict(case, case.demand, severity, message, advice)


def no_offer_verdict(case: StockCase) -> Verdict | None:
    """Short before the event, and nobody is known to sell it."""
    if case.short <= 0 or case.offers or case.event is None or case.demand is None:
        return None
    message = (
        f"{shown(case.part, case.short)} short before {case.event.event.name}, and no offer says how long an "
        "order takes. Enter an offer with its lead time."
    )
    return _demand_verdict(case, case.demand, Severity.UNKNOWN, message, None)


def floor_verdict(case: StockCase) -> Verdict | None:
    """Below the floor that the team set for the part, event or not."""
    if case.below_floor <= 0:
        return None
    part = case.part
    # No day is set for a floor, so the cheapest order will do.
    some_day = case.today + timedelta(days=3650)
    advice = order_advice(case.offers, short=case.below_floor, goods_by=some_day, today=case.today)
    order = f": order {advice.sentence()}" if advice else ", and no offer is known"
    return Verdict(
        severity=Severity.WATCH,
        message=(
            f"{shown(part, case.on_hand)} in stock, and the team wants never less than "
            f"{shown(part, part.minimum_stock)}{order}."
        ),
        value=float(case.on_hand),
        limit=float(part.minimum_stock),
        unit=part.unit,
        formula="on hand < minimum stock",
        inputs=(
            ("On hand", shown(part, case.on_hand)),
            *_places(case),
            ("Minimum stock", shown(part, part.minimum_stock)),
            *(_order_inputs(case, advice, case.below_floor) if advice else ()),
        ),
        source=SOURCE_FLOOR,
    )


def _demand_verdict(
    case: StockCase, demand: PartDemand, severity: Severity, message: str, advice: OrderAdvice | None
) -> Verdict:
    return Verdict(
        severity=severity,
        message=message,
        value=float(case.on_hand),
        limit=float(case.wanted),
        unit=case.part.unit,
        formula=FORMULA,
        inputs=tuple(_inputs(case, demand, advice)),
        source=SOURCE_DEMAND,
    )


def _inputs(case: StockCase, demand: PartDemand, advice: OrderAdvice | None) -> Iterator[tuple[str, str]]:
    part = case.part
    yield "On hand", shown(part, case.on_hand)
    yield from _places(case)
    yield "Lacking on current builds", shown(part, demand.lacking)
    uses = [use for line in demand.lacks for use in line.uses]
    for use in uses[:MOST_USES]:
        yield f"- {use.what_for} {use.label}".rstrip(), shown(part, use.lacking)
    if len(uses) > MOST_USES:
        rest = sum((use.lacking for use in uses[MOST_USES:]), Decimal(0))
        yield f"- and {len(uses) - MOST_USES} more", shown(part, rest)
    yield from _repair_inputs(case, demand)
    yield "Wanted before the event", shown(part, case.wanted)
    yield "Short", shown(part, case.short)
    yield "Goods are due", str(case.goods_by)
    if advice is not None:
        yield from _order_inputs(case, advice, case.short)
        yield "Last day to order", str(advice.last_day)
        yield "Ordered today it arrives", str(advice.arrives_on)


def _repair_inputs(case: StockCase, demand: PartDemand) -> Iterator[tuple[str, str]]:
    repairs = demand.repairs
    if repairs is None:
        yield "Repairs", "not known: no past event in the ledger; counted as 0"
        return
    yield "Past events", f"needed {repairs.seen} times in {repairs.exposure_seen:g} robot-matches"
    yield (
        "Prior of its kind",
        f"Gamma, shape {repairs.prior.shape:.3g}, exposure {repairs.prior.exposure:.3g} robot-matches",
    )
    yield "Expected rate", f"{repairs.rate:.3g} per robot-match"
    yield "Coming event", f"{repairs.exposure_ahead:g} robot-matches"
    yield f"Repairs covered with {demand.service_frac:.0%} chance", f"{repairs.count} times"
    if repairs.cut_m is not None:
        yield "Longest cut seen", shown(case.part, repairs.cut_m)


def _order_inputs(case: StockCase, advice: OrderAdvice, short: Decimal) -> tuple[tuple[str, str], ...]:
    offer = advice.offer
    pack = shown(case.part, offer.pack_size)
    return (
        ("Offer", f"{offer.supplier.name}: packs of {pack} at {offer.price}, {offer.lead_time_days} days"),
        (
            "Order",
            f"{shown(case.part, short)} / {pack}, rounded up, at least {offer.minimum_packs} = "
            f"{advice.packs} packs = {shown(case.part, advice.quantity)} for {advice.cost}",
        ),
    )


def _places(case: StockCase) -> Iterator[tuple[str, str]]:
    for place in case.places:
        spools = f" on {place.spools} spools" if place.spools else ""
        yield f"- in {place.bin_code}", f"{shown(case.part, place.quantity)}{spools}"
