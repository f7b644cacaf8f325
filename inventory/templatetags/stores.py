"""Template tag of the stores: how much of a spool is left, drawn."""

from __future__ import annotations

from django import template
from django.utils.safestring import SafeString

from inventory.models import Spool
from shared.web.charts import margin_bar

register = template.Library()


@register.simple_tag
def spool_bar(spool: Spool) -> SafeString:
    """Draw the rest of a spool against its full length: {% spool_bar spool %}."""
    left, full = float(spool.remaining_m), float(spool.full_length_m)
    return margin_bar(left, full, label=f"{left / full:.0%} left" if full else "no length")
