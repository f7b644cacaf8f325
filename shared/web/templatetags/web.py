"""Template tags of the design system, `{% load web %}`; the docstring of shared/web/__init__.py lists all."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any

from django import template
from django.forms import BoundField
from django.http import QueryDict
from django.utils.html import format_html
from django.utils.safestring import SafeString

from shared.web import charts
from shared.web.figures import UNITS, format_figure
from shared.web.icons import NAV_ICONS, SEVERITY_WORDS, icon_svg, severity_mark, state_mark
from shared.web.moments import countdown_mark

register = template.Library()


@register.filter
def fig(value: object, decimals: int | str = 2) -> str:
    """Print a number with aligned decimals: {{ value|fig:2 }} or {{ value|fig:"0-2" }}."""
    return format_figure(value, decimals)


@register.simple_tag
def qty(value: object, unit: str, decimals: int | str | None = None) -> SafeString:
    """Print a quantity with its unit: {% qty reading.resistance_mohm 'mohm' %}."""
    shown = UNITS[unit]
    number = value
    if shown.factor != 1.0 and isinstance(value, (int, float)) and not isinstance(value, bool):
        number = value * shown.factor
    text = format_figure(number, shown.decimals if decimals is None else decimals).strip("\u2007")
    if not shown.sign:
        return format_html('<span class="fig">{}</span>', text)
    return format_html(
        '<span class="qty"><span class="fig">{}</span>\u00a0<abbr class="unit" title="{}">{}</abbr></span>',
        text,
        shown.name,
        shown.sign,
    )


@register.simple_tag
def icon(name: str, label: str = "", size: int = 20) -> SafeString:
    """Draw an icon: {% icon 'battery' %}, or {% icon 'print' label='Print' %} when it stands alone."""
    return icon_svg(name, label=label, size=size)


@register.simple_tag
def nav_icon(key: str) -> SafeString:
    """Draw the icon of a navigation key; nothing when the key has none."""
    name = NAV_ICONS.get(key)
    return icon_svg(name, size=18) if name else SafeString("")


@register.simple_tag(name="severity")
def severity_tag(severity: str, note: str = "") -> SafeString:
    """Print a severity as shape and word: {% severity flag.severity %}; `ok` prints "In order"."""
    return severity_mark(severity, note)


@register.simple_tag(name="state")
def state_tag(severity: str, word: str, note: str = "", size: int = 16) -> SafeString:
    """Print a word of the page's own with the shape and colour of a severity: {% state "ok" "Ready" %}."""
    return state_mark(severity, word, note, size=size)


@register.simple_tag
def countdown(moment: datetime, now: datetime, past: str = "{} ago", id: str = "") -> SafeString:
    """Print the time left until a moment; it goes on counting: {% countdown match.starts_at now %}."""
    return countdown_mark(moment, now, past=past, element_id=id)


@register.filter
def severity_word(severity: str) -> str:
    """Return the word of a severity for running text and titles."""
    return SEVERITY_WORDS.get(severity, SEVERITY_WORDS["unknown"])


@register.inclusion_tag("web/_working.html", name="working")
def working_tag(working: Any) -> dict[str, Any]:
    """Print a computation step by step: {% working flag.working %}."""
    return {"working": working}


@register.filter
def number_pairs(numbers: object) -> list[tuple[str, object, str]]:
    """Return the numbers of a working step as (symbol, value, unit) whatever shape they came in.

    Accepts a mapping symbol -> value or symbol -> (value, unit), a list of pairs or triples, or a list of
    mappings with the keys symbol (or label), value and unit.
    """
    if isinstance(numbers, Mapping):
        return [_pair(symbol, value) for symbol, value in numbers.items()]
    if isinstance(numbers, Sequence) and not isinstance(numbers, str):
        return [_pair_from(item) for item in numbers]
    return []


def _pair(symbol: object, value: object) -> tuple[str, object, str]:
    if isinstance(value, (tuple, list)) and len(value) == 2:
        return str(symbol), value[0], str(value[1])
    return str(symbol), value, ""


def _pair_from(item: object) -> tuple[str, object, str]:
    if isinstance(item, Mapping):
        return (
            str(item.get("symbol") or item.get("label") or ""),
            item.get("value"),
            str(item.get("unit") or ""),
        )
    if isinstance(item, (tuple, list)):
        return str(item[0]), item[1], str(item[2]) if len(item) > 2 else ""
    return "", item, ""


@register.filter
def figure_or_text(value: object) -> str:
    """Print a float of a working with at most four significant decimals and everything else as it is."""
    if isinstance(value, float):
        return f"{value:.4g}" if abs(value) < 1000 else f"{value:.0f}"
    return "" if value is None else str(value)


@register.filter
def field_unit(field: BoundField) -> str:
    """Return the unit hint of a form field: its widget's data-unit or else its `unit` attribute."""
    attrs = field.field.widget.attrs
    # A quantity field has both: the sign to print, and the name its values are stored by.
    return str(attrs["data-unit"] if "data-unit" in attrs else getattr(field.field, "unit", ""))


@register.filter
def widget_kind(field: BoundField) -> str:
    """Return how the form partial lays a field out: check, choices, file, area or line."""
    kind = getattr(field.field.widget, "input_type", "")
    if kind == "checkbox":
        return "choices" if getattr(field.field.widget, "allow_multiple_selected", False) else "check"
    if kind == "radio":
        return "choices"
    if kind == "file":
        return "file"
    return "area" if "textarea" in type(field.field.widget).__name__.lower() else "line"


@register.simple_tag(takes_context=True)
def page_url(context: template.Context, number: int) -> str:
    """Return the query string for another page of the same list, other parameters kept."""
    request = context.get("request")
    query = request.GET.copy() if request is not None else QueryDict(mutable=True)
    query["page"] = str(number)
    return f"?{query.urlencode()}"


@register.simple_tag
def sparkline(values: Sequence[object], limit: float | str | None = None, label: str = "") -> SafeString:
    """Draw a small trend: {% sparkline battery.values limit=20.5 label="rising" %}."""
    # A limit the page does not have reaches a tag as an empty text.
    return charts.sparkline(values, limit=None if isinstance(limit, str) else limit, label=label)


@register.simple_tag
def trend_chart(chart: charts.TrendChart) -> SafeString:
    """Draw readings over days: {% trend_chart chart %}."""
    return charts.trend_chart(chart)


@register.simple_tag
def margin_bar(used: float | None, limit: float | None, label: str = "") -> SafeString:
    """Draw how much of a limit is used: {% margin_bar circuit.drop_v circuit.limit_v %}."""
    return charts.margin_bar(used, limit, label=label)


@register.simple_tag
def margin_bars(chart: charts.MarginBars) -> SafeString:
    """Draw a list of margins: {% margin_bars chart %}."""
    return charts.margin_bars(chart)


@register.simple_tag
def control_chart(chart: charts.ControlChart) -> SafeString:
    """Draw the newest reading against its own history: {% control_chart chart %}."""
    return charts.control_chart(chart)


@register.simple_tag
def fleet_strip(chart: charts.FleetStrip) -> SafeString:
    """Draw many batteries on one scale: {% fleet_strip chart %}."""
    return charts.fleet_strip(chart)


@register.simple_tag
def ledger_chart(chart: charts.LedgerChart) -> SafeString:
    """Draw a stock balance over days: {% ledger_chart chart %}."""
    return charts.ledger_chart(chart)


@register.simple_tag
def timeline(chart: charts.Timeline) -> SafeString:
    """Draw lanes over time: {% timeline chart %}."""
    return charts.timeline(chart)


@register.simple_tag
def label_sheet(chart: charts.LabelSheet) -> SafeString:
    """Draw the first sheet of labels: {% label_sheet chart %}."""
    return charts.label_sheet(chart)


@register.simple_tag
def rotation_chart(chart: charts.RotationChart) -> SafeString:
    """Draw what every battery of an event does over the day: {% rotation_chart chart %}."""
    return charts.rotation_chart(chart)


@register.simple_tag
def feed_tree(chart: charts.FeedTreeChart) -> SafeString:
    """Draw what feeds what in a robot: {% feed_tree chart %}."""
    return charts.feed_tree(chart)


@register.simple_tag
def voltage_trace(trace: charts.VoltageTrace) -> SafeString:
    """Draw a voltage over the seconds of a match: {% voltage_trace trace %}."""
    return charts.voltage_trace(trace)


@register.simple_tag
def duty_chart(chart: charts.DutyChart) -> SafeString:
    """Draw the phases of a duty profile: {% duty_chart chart %}."""
    return charts.duty_chart(chart)


@register.filter
def beside(
    row: Sequence[object], columns: Sequence[Mapping[str, object]]
) -> list[tuple[dict[str, object], object]]:
    """Return the cells of a plain table with the column each belongs to; decimals default to none."""
    return [({"decimals": 0, **column}, value) for column, value in zip(columns, row, strict=True)]
