"""What the review page adds to the facts: surprises in their order, verdicts today, and the days as they were."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime

from django.utils import timezone

from builds.models import Event
from builds.selectors.cart import cart
from builds.selectors.cart_rows import handling_of
from builds.selectors.review import BatteryReview, EventReview, ReviewMatch
from compliance.rules.battery_verdict import HealthVerdict
from compliance.selectors.rotation_days import Drawn, charges_during, rotation_picture
from inventory.models import BatteryIncident
from shared.access import Scope
from shared.web.charts import RotationChart

#: So far from what was expected is worth a line of its own (our choice: twice what a hand meter and a log disagree by).
SURPRISE_V = 0.5


@dataclass(frozen=True)
class Surprise:
    """Something that went otherwise, when it did."""

    at: datetime
    sentence: str
    weight: str = "watch"
    word: str = "Otherwise"


@dataclass(frozen=True)
class ReviewPage:
    """``batteries``: what each did, with today's verdict on it."""

    surprises: tuple[Surprise, ...]
    batteries: tuple[tuple[BatteryReview, HealthVerdict | None], ...]
    chart: RotationChart
    over: bool


def review_page(
    scope: Scope, event: Event, review: EventReview, told: Mapping[int, HealthVerdict]
) -> ReviewPage:
    """The rest of the page, in a fixed number of queries."""
    now = timezone.now()
    rows = cart(scope, event, now)
    outings = [match.outing for match in review.matches if match.outing] + list(review.practice)
    matches = [row.match for row in review.matches]
    charges = charges_during(scope, event, rows)
    drawn = Drawn(None, rows, matches, outings, charges, handling_of(event), now)
    return ReviewPage(
        surprises=_surprises(scope, event, review),
        batteries=tuple((row, told.get(row.battery.pk)) for row in review.batteries),
        chart=rotation_picture(event, drawn),
        over=all(match.called_off or match.starts_at < now for match in matches),
    )


def _surprises(scope: Scope, event: Event, review: EventReview) -> tuple[Surprise, ...]:
    """Incidents, plans made anew and why, matches that ran otherwise than planned, voltages nobody expected."""
    found = _incidents(scope, event)
    for plan in review.plans[1:]:
        why = str(plan.told.get("why", ""))
        if why:
            found.append(Surprise(plan.asked_at, f"Planned anew. {why}", "unknown", "Plan"))
    for row in review.matches:
        found += _of_match(row)
    return tuple(sorted(found, key=lambda surprise: surprise.at))


def _incidents(scope: Scope, event: Event) -> list[Surprise]:
    """Of any battery of the team on these days: one dropped at load-in never went out."""
    days = (event.starts_on, event.ends_on)
    rows = scope.rows(BatteryIncident).filter(happened_at__date__range=days)
    return [
        Surprise(
            row.happened_at,
            f"{row.battery.code}: {row.get_kind_display().lower()}{f', {row.note}' if row.note else ''}"
            f"{'' if row.looked_at else '; nobody has looked at it yet'}.",
            *(("stop", "Set aside") if row.kind in BatteryIncident.QUARANTINES else ("fix", "Incident")),
        )
        for row in rows.select_related("battery").order_by("happened_at", "pk")
    ]


def _of_match(row: ReviewMatch) -> list[Surprise]:
    match = row.match
    if match.called_off:
        return [Surprise(match.starts_at, f"Match {match.number} was called off.", "unknown", "Called off")]
    if row.as_planned is False:
        return [Surprise(match.starts_at, f"Match {match.number}: {row.sentence}")]
    if row.off_v is not None and abs(row.off_v) >= SURPRISE_V:
        low = row.off_v < 0
        weight, word = ("fix", "Lower") if low else ("watch", "Higher")
        return [Surprise(match.starts_at, f"Match {match.number}: {row.sentence}", weight, word)]
    return []
