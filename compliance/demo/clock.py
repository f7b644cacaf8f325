"""Dates of the demo world, all counted from the day it is made."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime, time, timedelta

from django.utils import timezone

#: The past two seasons and the current one: (name, first day, last day) in days from today.
SEASONS: tuple[tuple[str, int, int], ...] = (
    ("Season of herring", -920, -560),
    ("Season of mackerel", -559, -200),
    ("Season of sprat", -199, 165),
)
PAST_EVENT = (-48, -47)
NEXT_EVENT = (12, 13)
GOODS_BY = 8
#: The first line of every ledger, well before the past event.
LEDGER_BEGAN = -540


@dataclass(frozen=True)
class Clock:
    """What 'now' means while the world is made, to five minutes."""

    now: datetime

    @classmethod
    def round(cls, moment: datetime) -> Clock:
        return cls(moment.replace(minute=moment.minute - moment.minute % 5, second=0, microsecond=0))

    @property
    def today(self) -> date:
        return timezone.localdate(self.now)

    def day(self, days: int) -> date:
        return self.today + timedelta(days=days)

    def at(self, days: int, hour: int = 17, minute: int = 0) -> datetime:
        return timezone.make_aware(datetime.combine(self.day(days), time(hour, minute)))
