"""Which batteries want a charge before they suffer, and when the others will: the rule's own judgement, as a list."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime

import numpy as np

from compliance.rules.base import SEVERITY_ORDER
from compliance.rules.batteries import BatteryTopUp
from compliance.rules.battery_care import last_full_day, number, topup_verdict
from compliance.rules.battery_judge import OFF, PASSED
from compliance.selectors.battery_book import BatteryCase
from compliance.selectors.battery_columns import JUDGED_STATES, day_to_date
from compliance.selectors.battery_health import book_of, state_of, wanted
from shared.access import Scope


@dataclass(frozen=True)
class TopUp:
    """One battery: ``state`` is a severity where a charge is due, else "pass", "not judged" or "off"."""

    battery_id: int
    code: str
    state: str
    sentence: str
    on_charger: bool
    last_full: date | None
    due_on: date | None

    @property
    def due(self) -> bool:
        return self.state in SEVERITY_ORDER


@dataclass(frozen=True)
class TopUps:
    """Those that are due, the gravest first; those that stand well, the next one first; those nobody can judge."""

    due: tuple[TopUp, ...]
    later: tuple[TopUp, ...]
    unknown: tuple[TopUp, ...]


def top_ups(scope: Scope, *, now: datetime | None = None) -> TopUps:
    """All batteries of the team that may go out, in as many queries as the fleet takes."""
    book = book_of(scope, None, now)
    rows = [top_up(case) for case in wanted(book, None) if case.facts.state in JUDGED_STATES]
    return TopUps(
        due=_sorted(row for row in rows if row.due),
        later=_sorted(row for row in rows if row.state == PASSED),
        unknown=_sorted(row for row in rows if not row.due and row.state not in (PASSED, OFF)),
    )


def top_up(case: BatteryCase) -> TopUp:
    """One battery as the rule of the team's pack judges it."""
    verdict, care, row = topup_verdict(case), case.book.care, case.row
    last = float(last_full_day(care)[row])
    known = not np.isnan(last) and not case.facts.lithium
    after_d = number(case, BatteryTopUp, "topup_after_d")
    return TopUp(
        battery_id=case.facts.pk,
        code=case.facts.code,
        state=state_of(case, verdict),
        sentence=verdict.message,
        on_charger=bool(care.on_charger[row]),
        last_full=day_to_date(last) if known else None,
        due_on=day_to_date(np.floor(last) + after_d) if known else None,
    )


def _sorted(rows: Iterable[TopUp]) -> tuple[TopUp, ...]:
    def order(row: TopUp) -> tuple[int, bool, date, str]:
        return SEVERITY_ORDER.get(row.state, 0), row.due_on is None, row.due_on or date.max, row.code

    return tuple(sorted(rows, key=order))
