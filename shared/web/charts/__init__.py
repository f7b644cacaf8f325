"""Charts drawn on the server as SVG: typed data in, safe markup out; no script, so they print."""

from shared.web.charts.duty import DutyChart, DutyStep, duty_chart
from shared.web.charts.feed_tree import FeedBranch, FeedTreeChart, feed_tree
from shared.web.charts.label_sheet import LabelSheet, label_sheet
from shared.web.charts.ledger import LedgerChart, LedgerStep, ledger_chart
from shared.web.charts.margin import MarginBar, MarginBars, margin_bar, margin_bars
from shared.web.charts.sparkline import sparkline
from shared.web.charts.timeline import Lane, Moment, Span, Timeline, timeline
from shared.web.charts.trend import BandPoint, Crossing, Threshold, TrendChart, TrendPoint, trend_chart
from shared.web.charts.voltage import RunBand, VoltageTrace, VoltLevel, voltage_trace

__all__ = [
    "BandPoint",
    "Crossing",
    "DutyChart",
    "DutyStep",
    "FeedBranch",
    "FeedTreeChart",
    "LabelSheet",
    "Lane",
    "LedgerChart",
    "LedgerStep",
    "MarginBar",
    "MarginBars",
    "Moment",
    "RunBand",
    "Span",
    "Threshold",
    "Timeline",
    "TrendChart",
    "TrendPoint",
    "VoltLevel",
    "VoltageTrace",
    "duty_chart",
    "feed_tree",
    "label_sheet",
    "ledger_chart",
    "margin_bar",
    "margin_bars",
    "sparkline",
    "timeline",
    "trend_chart",
    "voltage_trace",
]
