"""Events: what comes next, and what it will eat."""

from __future__ import annotations

from datetime import date, datetime, time
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.utils import timezone

from builds.models import Build, BuildState, Event, Match, Outing
from builds.selectors.cart_rows import handling_of
from builds.selectors.events import events_ahead, events_past, matches_of, outings
from builds.selectors.stores import EventNeeds, event_needs
from inventory.selectors.history import history_of
from shared.access import Can
from shared.pages import TeamPage
from shared.web.charts import Lane, Moment, Span, Timeline


class EventList(TeamPage):
    nav_key = "events"

    def get(self, request: HttpRequest, **kwargs: Any) -> HttpResponse:
        today = timezone.localdate()
        ahead = [(event, (event.starts_on - today).days) for event in events_ahead(self.scope, today)]
        context = {
            "ahead": ahead,
            "next": ahead[0] if ahead else None,
            "page_obj": self.page_of(events_past(self.scope, today)),
            "supplies": self.scope.can(Can.SUPPLY),
        }
        return self.render("builds/event_list.html", context)


class EventDetail(TeamPage):
    """What the event will eat, whether it is there, and by which day to order what is not."""

    nav_key = "events"

    def get(self, request: HttpRequest, **kwargs: Any) -> HttpResponse:
        event = self.scope.get(Event.objects.select_related("season"), pk=self.kwargs["pk"])
        today = timezone.localdate()
        is_past = event.ends_on < today
        needs = None if is_past else event_needs(self.scope, event, today=today)
        matches = list(matches_of(self.scope, event))
        used = list(outings(self.scope).filter(match__event=event))
        current = Build.objects.filter(state=BuildState.CURRENT, robot__events=event)
        build_of = dict(self.scope.rows(current).values_list("robot_id", "pk"))
        robots = event.robots.order_by("code").select_related("season")
        context = {
            "event": event,
            "today": today,
            "days": (event.starts_on - today).days,
            "is_past": is_past,
            "needs": needs,
            "road": road_chart(event, needs, timezone.now()) if needs else None,
            "schedule": schedule_chart(matches, used, timezone.now()),
            "cart_batteries": event.batteries.order_by("code"),
            "cart_chargers": event.chargers.order_by("name"),
            "handling": handling_of(event),
            "robots": [(robot, build_of.get(robot.pk)) for robot in robots],
            "matches": with_outings(matches, used),
            "outings": used,
            "history": history_of(event),
            "works": self.scope.can(Can.WORK),
            "supplies": self.scope.can(Can.SUPPLY),
        }
        return self.render("builds/event_detail.html", context)


def road_chart(event: Event, needs: EventNeeds, now: datetime) -> Timeline:
    """The days between now and the event: last days to order, goods here, the event itself."""
    orders = [Moment(_noon(day), f"order by {day:%d %b}") for day in needs.order_days]
    lanes = [
        Lane("Last day to order", moments=orders),
        Lane("Goods must be here", moments=[Moment(_noon(needs.goods_by), f"{needs.goods_by:%d %b}")]),
        Lane(
            "Event",
            spans=[Span(_start(event.starts_on), _noon(event.ends_on), event.name, "plan")],
        ),
    ]
    days = ", ".join(f"{day:%Y-%m-%d}" for day in needs.order_days) or "none"
    return Timeline(
        title="From now to the event",
        lanes=[lane for lane in lanes if lane.spans or lane.moments],
        summary=f"Last days to order: {days}. Goods must be here by {needs.goods_by:%Y-%m-%d}. "
        f"The event runs from {event.starts_on:%Y-%m-%d} to {event.ends_on:%Y-%m-%d}.",
        now=now,
        chart_id="road",
    )


def schedule_chart(matches: list[Match], used: list[Outing], now: datetime) -> Timeline | None:
    """A lane for every robot with its matches, and one for every battery with its outings."""
    if not matches:
        return None
    robots: dict[str, list[Moment]] = {}
    for match in matches:
        robots.setdefault(match.robot.name, []).append(Moment(match.starts_at, match.number))
    batteries: dict[str, list[Moment]] = {}
    for outing in used:
        label = outing.match.number if outing.match else ""
        batteries.setdefault(outing.battery.code, []).append(Moment(outing.started_at, label))
    lanes = [Lane(name, moments=moments) for name, moments in [*robots.items(), *sorted(batteries.items())]]
    return Timeline(
        title="Matches and batteries",
        lanes=lanes,
        summary=f"Matches: {len(matches)}, robots: {len(robots)}, outings: {len(used)}, batteries: {len(batteries)}. "
        "The table below says the same.",
        now=now if matches[0].starts_at <= now <= matches[-1].starts_at else None,
        chart_id="schedule",
    )


def with_outings(matches: list[Match], used: list[Outing]) -> list[tuple[Match, list[Outing]]]:
    of: dict[int, list[Outing]] = {}
    for outing in used:
        of.setdefault(outing.match_id or 0, []).append(outing)
    return [(match, of.get(match.pk, [])) for match in matches]


def _start(day: date) -> datetime:
    return timezone.make_aware(datetime.combine(day, time.min))


def _noon(day: date) -> datetime:
    return timezone.make_aware(datetime.combine(day, time(12)))
