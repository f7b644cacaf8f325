"""How long until a moment, in the few words a countdown needs; `countdown.js` goes on in the same words."""

from __future__ import annotations

from datetime import datetime

from django.utils.html import format_html
from django.utils.safestring import SafeString

MINUTE_S = 60
HOUR_S = 60 * MINUTE_S
DAY_S = 24 * HOUR_S
#: Below this a countdown shows seconds.
CLOSE_S = 10 * MINUTE_S


def span_words(seconds: float) -> str:
    """A length of time: 4:30, 23 min, 2 h 05 min, 3 days. The sign is not told."""
    whole = int(abs(seconds))
    if whole < CLOSE_S:
        return f"{whole // MINUTE_S}:{whole % MINUTE_S:02d}"
    if whole < HOUR_S:
        return f"{whole // MINUTE_S} min"
    if whole < DAY_S:
        return f"{whole // HOUR_S} h {whole % HOUR_S // MINUTE_S:02d} min"
    days = whole // DAY_S
    return f"{days} day{'s' if days != 1 else ''}"


def since_words(seconds: float) -> str:
    """How long ago, in whole minutes: what is over needs no seconds."""
    return span_words(seconds) if seconds >= CLOSE_S else f"{max(int(seconds // MINUTE_S), 1)} min"


def countdown_mark(
    moment: datetime, now: datetime, *, past: str = "{} ago", element_id: str = ""
) -> SafeString:
    """The time left until ``moment`` as an element that goes on counting; ``past`` is said once it is over."""
    left = (moment - now).total_seconds()
    text = span_words(left) if left > 0 else past.replace("{}", since_words(-left))
    name = format_html(' id="{}"', element_id) if element_id else ""
    return format_html(
        '<time class="fig"{} role="timer" datetime="{}" data-countdown data-past="{}">{}</time>',
        name,
        moment.isoformat(),
        past,
        text,
    )
