"""The stock rules: what each asks of a part, and the limits a rule pack may set."""

from __future__ import annotations

from typing import Any

from compliance.models import Severity, SubjectKind
from compliance.rules.base import Limit, Rule, step, working
from compliance.rules.stock_judge import FORMULA, Verdict
from compliance.selectors.packs import PackTable
from compliance.selectors.stock_cases import HORIZON_DAYS
from shared.electrical.sources import COMMON_PRACTICE, MEMORY, SEEN, Source

BILL = Source("Bill of materials of the current builds", "needed less fitted", SEEN)
REPAIRS = Source(
    "Gaver and O'Muircheartaigh, Technometrics 29 (1987) 1-15",
    "gamma-Poisson model of repairs; predictive negative binomial",
    MEMORY,
)
ORDERS = Source("Order up to the target in whole packs", "", COMMON_PRACTICE)
OWN_FLOOR = Source("The team's own minimum stock", "", SEEN)
OWN_CHOICE = Source(
    "Our choice", "a robot still being built lacks much; far ahead that is no news", COMMON_PRACTICE
)
A_WEEKEND = Source("Our choice", "an order due within a weekend is placed today", COMMON_PRACTICE)


class StockRule(Rule):
    """What all stock rules share."""

    sweep = "stock"
    subject = SubjectKind.PART


class StockShort(StockRule):
    code = "stock-short"
    title = "Short before the event"
    severity = Severity.STOP
    asks = "Is there enough in stock for what the builds lack and for the repairs of the next event?"
    formula = FORMULA
    needs = ("builds of the robots that go", "the day goods are due", "offers with their lead time")
    remedy = "Order what the message names, by the day it names."
    limits = (
        Limit(
            "horizon_days",
            HORIZON_DAYS,
            "d",
            "How far ahead an event is judged",
            OWN_CHOICE,
            high=730,
        ),
        Limit(
            "soon_days", 3, "d", "So close to the last day to order it must be done now", A_WEEKEND, high=60
        ),
    )
    sources = (BILL, REPAIRS, ORDERS)


class StockNoOffer(StockRule):
    code = "stock-no-offer"
    title = "Short, and nobody known to sell it"
    severity = Severity.UNKNOWN
    asks = "Would what is short come in time?"
    formula = FORMULA
    needs = ("an offer with its lead time",)
    remedy = "Enter an offer with its lead time."
    sources = (BILL, REPAIRS)


class StockFloor(StockRule):
    code = "stock-floor"
    title = "Below the team's own minimum"
    severity = Severity.WATCH
    asks = "Is there less in stock than the team set as its minimum?"
    formula = "on hand < minimum stock"
    needs = ("the minimum stock of the part",)
    remedy = "Order up to the minimum, or lower it."
    sources = (OWN_FLOOR,)


RULES: tuple[type[Rule], ...] = (StockShort, StockNoOffer, StockFloor)


def number_or_default(table: PackTable, name: str, pack: int) -> float:
    """A limit of the stock rules; a pack's value that cannot be used is passed over (the working says so)."""
    try:
        return float(table.value(StockShort, name, pack))
    except ValueError:
        return float(StockShort.limit(name).default)


def stock_working(rule: type[Rule], verdict: Verdict, table: PackTable, pack: int) -> dict[str, Any]:
    """The verdict as a working: one line per number put in, then the comparison."""
    steps = [step(label, "", "", value) for label, value in verdict.inputs]
    steps.append(
        step("Compared", verdict.formula, "", f"{verdict.value:g} against {verdict.limit:g}", verdict.unit)
    )
    name = "minimum stock" if rule is StockFloor else "wanted before the event"
    limit = {
        "label": name,
        "value": verdict.limit,
        "unit": verdict.unit,
        "source": _limit_source(table, pack),
    }
    if rule is StockFloor:
        limit["source"] = str(OWN_FLOOR)
    return working(steps, limit=limit, conclusion=verdict.message, sources=rule.sources)


def _limit_source(table: PackTable, pack: int) -> str:
    """Which horizon and notice were used."""
    horizon, soon = (number_or_default(table, name, pack) for name in ("horizon_days", "soon_days"))
    text = f"{table.source(StockShort, pack)}: events within {horizon:g} days, {soon:g} days' notice"
    try:
        for limit in StockShort.limits:
            table.value(StockShort, limit.name, pack)
    except ValueError as exc:
        return f"{text} (a value of the pack was passed over: {exc})"
    return text
