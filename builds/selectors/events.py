"""Events and outings as pages and sweeps read them."""

from __future__ import annotations

from collections.abc import Collection
from datetime import date

from django.db.models import Count, F, QuerySet, Window
from django.db.models.functions import RowNumber

from builds.models import Event, Match, Outing
from shared.access import Scope


def event_next(scope: Scope, on: date) -> Event | None:
    """The event that comes next or is going on; None when nothing is planned."""
    rows = scope.rows(Event).filter(ends_on__gte=on).order_by("starts_on", "pk")
    return rows.prefetch_related("robots").first()


def events_next(team_ids: Collection[int], on: date) -> dict[int, Event]:
    """Team id -> its next event; one query for any number of teams."""
    found: dict[int, Event] = {}
    rows = Event.objects.filter(team_id__in=team_ids, ends_on__gte=on)
    for event in rows.order_by("starts_on", "pk"):
        found.setdefault(event.team_id, event)
    return found


def events_to_supply(team_ids: Collection[int], on: date) -> dict[int, Event]:
    """Team id -> its next event that has not begun: nothing that is ordered now reaches one that is on."""
    found: dict[int, Event] = {}
    rows = Event.objects.filter(team_id__in=team_ids, starts_on__gt=on)
    for event in rows.order_by("starts_on", "pk"):
        found.setdefault(event.team_id, event)
    return found


def matches_of(scope: Scope, event: Event) -> QuerySet[Match]:
    """The matches of an event in their order, with robots."""
    return scope.rows(Match).filter(event=event).select_related("robot").order_by("starts_at", "pk")


def matches_to_pick(scope: Scope, most: int = 60) -> QuerySet[Match]:
    """Matches that an outing may belong to, those of the latest event first."""
    newest = scope.rows(Match).order_by("-starts_at").values_list("pk", flat=True)[:most]
    return (
        scope.rows(Match).filter(pk__in=list(newest)).select_related("event", "robot").order_by("-starts_at")
    )


def events_ahead(scope: Scope, on: date) -> QuerySet[Event]:
    """Events that are on or still to come, the next one first, with how many robots go and matches stand."""
    return _counted(scope.rows(Event).filter(ends_on__gte=on)).order_by("starts_on", "pk")


def events_past(scope: Scope, on: date) -> QuerySet[Event]:
    """Events that are over, the latest first."""
    return _counted(scope.rows(Event).filter(ends_on__lt=on)).order_by("-starts_on", "pk")


def _counted(events: QuerySet[Event]) -> QuerySet[Event]:
    return events.select_related("season").annotate(
        robot_count=Count("robots", distinct=True), match_count=Count("matches", distinct=True)
    )


def last_outings(scope: Scope) -> dict[int, Outing]:
    """Battery id -> the last time it went out, with robot and match; one query."""
    ranked = scope.rows(Outing).annotate(
        nth=Window(RowNumber(), partition_by=F("battery_id"), order_by=F("started_at").desc())
    )
    rows = ranked.filter(nth=1).select_related("robot", "match").order_by()
    return {outing.battery_id: outing for outing in rows}


def outings(scope: Scope) -> QuerySet[Outing]:
    """All outings, newest first, with everything a page shows of them."""
    return scope.rows(Outing).select_related("battery", "robot", "match__event", "by").order_by("-started_at")
