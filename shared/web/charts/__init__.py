"""Charts drawn on the server as SVG: typed data in, safe markup out; no script, so they print."""

from shared.web.charts.control import ControlChart, control_chart
from shared.web.charts.duty import DutyChart, DutyStep, duty_chart
from shared.web.charts.feed_tree import FeedBranch, FeedTreeChart, feed_tree
from shared.web.charts.fleet import FleetLimit, FleetRow, FleetStrip, fleet_strip
from shared.web.charts.label_sheet import LabelSheet, label_sheet
from shared.web.charts.ledger import LedgerChart, LedgerStep, ledger_chart
from shared.web.charts.margin import MarginBar, MarginBars, margin_bar, margin_bars
from shared.web.charts.rotation import (
    RotationBar,
    RotationChart,
    RotationDay,
    RotationLane,
    RotationMark,
    rotation_chart,
)
from shared.web.charts.sparkline import sparkline
from shared.web.charts.timeline import Lane, Moment, Span, Timeline, timeline
from shared.web.charts.trend import (
    BandPoint,
    Crossing,
    Threshold,
    TrendChart,
    TrendPoint,
    TrendWords,
    trend_chart,
)
from shared.web.charts.voltage import RunBand, VoltageTrace, VoltLevel, voltage_trace

__all__ = [
    "BandPoint",
    "ControlChart",
    "Crossing",
    "DutyChart",
    "DutyStep",
    "FeedBranch",
    "FeedTreeChart",
    "FleetLimit",
    "FleetRow",
    "FleetStrip",
    "LabelSheet",
    "Lane",
    "LedgerChart",
    "LedgerStep",
    "MarginBar",
    "MarginBars",
    "Moment",
    "RotationBar",
    "RotationChart",
    "RotationDay",
    "RotationLane",
    "RotationMark",
    "RunBand",
    "Span",
    "Threshold",
    "Timeline",
    "TrendChart",
    "TrendPoint",
    "TrendWords",
    "VoltLevel",
    "VoltageTrace",
    "control_chart",
    "duty_chart",
    "feed_tree",
    "fleet_strip",
    "label_sheet",
    "ledger_chart",
    "margin_bar",
    "margin_bars",
    "rotation_chart",
    "sparkline",
    "timeline",
    "trend_chart",
    "voltage_trace",
]
