"""What the review page adds to the facts: surprises in their order, verdicts today, and the days as they were."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from statistics import mean, median

from django.utils import timezone

from builds.models import Event, Robot
from builds.selectors.cart import cart
from builds.selectors.cart_rows import handling_of
from builds.selectors.review import SAME_V, BatteryReview, EventReview, ReviewMatch
from compliance.rules.battery_verdict import HealthVerdict
from compliance.selectors.rotation_days import Drawn, charges_during, rotation_picture
from inventory.models import BatteryIncident
from shared.access import Scope
from shared.web.charts import RotationChart

#: So far from what was expected is worth a line of its own (our choice: twice what a hand meter and a log disagree by).
SURPRISE_V = 0.5
#: So many batteries and matches, all missing by so much the same way, speak of the robot (our choice).
COMMON_V, COMMON_BATTERIES, COMMON_MATCHES = 0.3, 3, 5


@dataclass(frozen=True)
class Surprise:
    """Something that went otherwise, when it did."""

    at: datetime
    sentence: str
    weight: str = "watch"
    word: str = "Otherwise"


@dataclass(frozen=True)
class RobotOff:
    """A robot that fell as much lower (or less low) than simulated with every battery: the robot differs, not they."""

    robot: Robot
    off_v: float
    matches: int
    batteries: int

    @property
    def sentence(self) -> str:
        """What it means and what to check, in words."""
        lower = self.off_v < 0
        return (
            f"{self.robot.name} fell about {abs(self.off_v):.1f} V {'lower' if lower else 'less low'} than simulated "
            f"with every battery ({self.batteries} batteries, {self.matches} matches): the simulation expects too "
            f"{'much' if lower else 'little'} of this robot. {LOWER if lower else HIGHER}"
        )


LOWER = (
    "Measure leads, main breaker and plugs and enter their joints, look for motors without a current limit, and "
    "compare the duty profiles with the robot's log."
)
HIGHER = (
    "Compare the duty profiles and current limits with the robot's log: it asks for less than was entered."
)


@dataclass(frozen=True)
class BatteryLine:
    """What a battery did, with today's verdict on it and what was learned of it besides what holds for all."""

    row: BatteryReview
    verdict: HealthVerdict | None
    learned: tuple[str, ...]


@dataclass(frozen=True)
class ReviewPage:
    """``robots``: those that differ from their simulation with every battery."""

    robots: tuple[RobotOff, ...]
    surprises: tuple[Surprise, ...]
    batteries: tuple[BatteryLine, ...]
    chart: RotationChart
    now: datetime
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
    robots = robots_off(review.matches)
    common = {robot.robot.pk: robot.off_v for robot in robots}
    return ReviewPage(
        robots=robots,
        surprises=_surprises(scope, event, review, common),
        batteries=tuple(
            BatteryLine(row, told.get(row.battery.pk), _learned(row, review.matches, common))
            for row in review.batteries
        ),
        chart=rotation_picture(event, drawn),
        now=now,
        over=all(match.called_off or match.starts_at < now for match in matches),
    )


def robots_off(rows: Sequence[ReviewMatch]) -> tuple[RobotOff, ...]:
    """Robots whose batteries all missed what was expected by about the same, the same way; reads nothing."""
    offs: dict[int, dict[int, list[float]]] = {}
    robots: dict[int, Robot] = {}
    for row in rows:
        if row.off_v is not None and row.ran is not None:
            robots[row.match.robot_id] = row.match.robot
            offs.setdefault(row.match.robot_id, {}).setdefault(row.ran.pk, []).append(row.off_v)
    found = []
    for pk, of_battery in offs.items():
        means = [mean(values) for values in of_battery.values()]
        count = sum(len(values) for values in of_battery.values())
        middle = median(means)
        alike = max(means) - min(means) < SURPRISE_V and all(value * middle > 0 for value in means)
        if len(means) >= COMMON_BATTERIES and count >= COMMON_MATCHES and alike and abs(middle) >= COMMON_V:
            found.append(RobotOff(robots[pk], middle, count, len(means)))
    return tuple(found)


def _learned(
    battery: BatteryReview, rows: Sequence[ReviewMatch], common: Mapping[int, float]
) -> tuple[str, ...]:
    """What was learned of it; that it missed by as much as all others says something of the robot only."""
    own = [
        row.off_v - common.get(row.match.robot_id, 0.0)
        for row in rows
        if row.ran and row.ran.pk == battery.battery.pk and row.off_v is not None
    ]
    shared = any(row.match.robot_id in common for row in rows if row.ran and row.ran.pk == battery.battery.pk)
    if not own or not shared:
        return battery.learned
    off = mean(own)
    if abs(off) < SAME_V:
        first = "Like every battery in this robot."
    else:
        first = (
            f"It fell {abs(off):.1f} V {'lower' if off < 0 else 'less low'} than the others do in this robot."
        )
    return (first, *battery.learned[1:])


def _surprises(
    scope: Scope, event: Event, review: EventReview, common: Mapping[int, float]
) -> tuple[Surprise, ...]:
    """Incidents, plans made anew and why, matches that ran otherwise than planned, voltages nobody expected."""
    found = _incidents(scope, event)
    for plan in review.plans[1:]:
        why = str(plan.told.get("why", ""))
        if why:
            found.append(Surprise(plan.asked_at, f"Planned anew. {why}", "unknown", "Plan"))
    for row in review.matches:
        found += _of_match(row, common.get(row.match.robot_id, 0.0))
    return tuple(sorted(found, key=lambda surprise: surprise.at))


def _incidents(scope: Scope, event: Event) -> list[Surprise]:
    """Of any battery of the team on these days: one dropped at load-in never went out."""
    days = (event.starts_on, event.ends_on)
    rows = scope.rows(BatteryIncident).filter(happened_at__date__range=days)
    return [
        Surprise(
            row.happened_at,
            f"{row.battery.code}: {row.get_kind_display().lower()}{_noted(row)}"
            f"{'' if row.looked_at else '; nobody has looked at it yet'}.",
            *(("stop", "Set aside") if row.kind in BatteryIncident.QUARANTINES else ("fix", "Incident")),
        )
        for row in rows.select_related("battery").order_by("happened_at", "pk")
    ]


def _noted(row: BatteryIncident) -> str:
    note = row.note.strip().rstrip(".")
    return f" ({note})" if note else ""


def _of_match(row: ReviewMatch, common_v: float) -> list[Surprise]:
    """What went otherwise in one match, besides what its robot does with every battery."""
    match = row.match
    if match.called_off:
        return [Surprise(match.starts_at, f"Match {match.number} was called off.", "unknown", "Called off")]
    if row.as_planned is False:
        return [Surprise(match.starts_at, f"Match {match.number}: {row.sentence}")]
    if row.off_v is not None and abs(row.off_v - common_v) >= SURPRISE_V:
        low = row.off_v < common_v
        weight, word = ("fix", "Lower") if low else ("watch", "Higher")
        return [Surprise(match.starts_at, f"Match {match.number}: {row.sentence}", weight, word)]
    return []
