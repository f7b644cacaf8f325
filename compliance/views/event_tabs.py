"""The tabs that lead from one page of an event in the pit to the others."""

from __future__ import annotations

from builds.models import Event
from shared.pages import TeamPage

#: Label, URL name, key, and whether the address names the event.
EVENT_TABS: tuple[tuple[str, str, str, bool], ...] = (
    ("Pit", "pit", "pit", True),
    ("Charging", "charging-board", "charging", False),
    ("Rotation", "rotation", "rotation", True),
    ("Schedule", "schedule", "schedule", True),
    ("Review", "review", "review", True),
    ("Event", "event-detail", "event", True),
)


def event_tabs(page: TeamPage, event: Event) -> list[tuple[str, str, str]]:
    """Label, address and key of every page of the event."""
    return [
        (label, page.url(name, pk=event.pk) if named else page.url(name), key)
        for label, name, key, named in EVENT_TABS
    ]
