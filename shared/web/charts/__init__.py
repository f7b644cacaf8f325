"""Charts drawn on the server as SVG: typed data in, safe markup out; no script, so they print."""

from shared.web.charts.ledger import LedgerChart, LedgerStep, ledger_chart
from shared.web.charts.margin import MarginBar, MarginBars, margin_bar, margin_bars
from shared.web.charts.sparkline import sparkline
from shared.web.charts.timeline import Lane, Moment, Span, Timeline, timeline
from shared.web.charts.trend import BandPoint, Crossing, Threshold, TrendChart, TrendPoint, trend_chart

__all__ = [
    "BandPoint",
    "Crossing",
    "Lane",
    "LedgerChart",
    "LedgerStep",
    "MarginBar",
    "MarginBars",
    "Moment",
    "Span",
    "Threshold",
    "Timeline",
    "TrendChart",
    "TrendPoint",
    "ledger_chart",
    "margin_bar",
    "margin_bars",
    "sparkline",
    "timeline",
    "trend_chart",
]
