"""Example content for the specimen page: invented things in every state a component can have."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from typing import Any

from django import forms

from shared.web.charts import (
    BandPoint,
    ControlChart,
    Crossing,
    FleetLimit,
    FleetRow,
    FleetStrip,
    Lane,
    LedgerChart,
    LedgerStep,
    MarginBar,
    MarginBars,
    Moment,
    Span,
    Threshold,
    Timeline,
    TrendChart,
    TrendPoint,
)
from shared.web.specimen_power import duty_example, feed_tree_example, voltage_example

TODAY = date(2026, 3, 12)
NAV = [
    ("Home", "#", "home"),
    ("Flags", "#", "flags"),
    ("Batteries", "#", "batteries"),
    ("Robots", "#", "robots"),
    ("Stores", "#", "stores"),
    ("Events", "#", "events"),
    ("Import/Export", "#", "exchange"),
    ("Methods", "#", "methods"),
    ("Jobs", "#", "jobs"),
]
# name, state, fed from, protective device, area_mm2, length_m, rms_a, ampacity_a, drop_v, checked by
CIRCUITS = [
    ("Drive, front left", "ok", "board A, 1", "breaker 40 A", 5.26, 0.9, 31.4, 48.0, 0.21, "mara"),
    ("Drive, front right", "ok", "board A, 2", "breaker 40 A", 5.26, 0.9, 31.4, 48.0, 0.21, "mara"),
    ("Lift", "watch", "board A, 5", "breaker 40 A", 3.31, 1.6, 38.9, 40.0, 0.66, "jonas"),
    ("Intake roller", "fix", "board A, 9", "breaker 20 A", 1.31, 1.4, 21.6, 20.0, 0.80, "jonas"),
    ("Pump", "stop", "board B, 1", "fuse 20 A", 0.82, 2.2, 17.0, 10.0, 1.57, ""),
    ("Status beacon", "unknown", "board B, 3", "fuse 7.5 A", 0.5, None, None, 7.0, None, ""),
]


class ReadingForm(forms.Form):
    """The reading a student takes in the pit; shows every kind of field."""

    resistance_mohm = forms.FloatField(
        label="Internal resistance",
        help_text="Ten minutes after the load is off, probes on the posts.",
        min_value=1,
        widget=forms.NumberInput(attrs={"data-unit": "mΩ", "data-stepper": "0.1", "inputmode": "decimal"}),
    )
    taken_on = forms.DateField(label="Taken on", widget=forms.DateInput(attrs={"type": "date"}))
    method = forms.ChoiceField(
        label="Method", choices=[("step", "Load step"), ("ac", "AC tester")], widget=forms.RadioSelect
    )
    instrument = forms.ChoiceField(label="Instrument", choices=[("a", "Bench tester"), ("b", "Hand meter")])
    rested = forms.BooleanField(label="Rested for at least an hour", required=False)
    note = forms.CharField(label="Note", required=False, widget=forms.Textarea(attrs={"rows": 3}))


def trend_example() -> TrendChart:
    """A battery that ages: two instruments, two readings left out, a fit that crosses a threshold."""
    start = date(2025, 9, 20)
    bench = [12.1, 12.3, 12.0, 12.6, 12.9, 13.1, 13.0, 13.6, 13.9, 14.2, 14.1, 14.8]
    hand = [(30, 13.4), (74, 13.2), (121, 14.4), (160, 15.1)]
    points = [
        TrendPoint(
            start + timedelta(days=15 * n), value, "Bench tester", n != 4, "cold: 4 °C" if n == 4 else ""
        )
        for n, value in enumerate(bench)
    ]
    points += [
        TrendPoint(
            start + timedelta(days=day), value, "Hand meter", day != 30, "not rested" if day == 30 else ""
        )
        for day, value in hand
    ]
    days = [start + timedelta(days=7 * n) for n in range(37)]
    line = [(day, 11.9 + 0.0165 * (day - start).days) for day in days]
    band = [
        BandPoint(
            day,
            value - 0.35 - 0.0009 * abs((day - start).days - 90),
            value + 0.35 + 0.0016 * abs((day - start).days - 90),
        )
        for day, value in line
    ]
    return TrendChart(
        title="Battery GP-04, internal resistance",
        unit="mΩ",
        points=points,
        summary="Rising by 0.5 mΩ a month. At the latest trend it reaches 15.7 mΩ from 2 April to 28 May.",
        baseline=12.1,
        fit=line,
        band=band,
        thresholds=[Threshold(14.5, "watch"), Threshold(15.7, "fix", "fix"), Threshold(18.2, "stop", "stop")],
        crossing=Crossing(15.7, date(2026, 4, 2), date(2026, 5, 9), date(2026, 5, 28)),
        today=TODAY,
        chart_id="specimen-trend",
    )


def margins_example() -> MarginBars:
    """Circuits from calm to far over, and one that cannot be judged."""
    return MarginBars(
        "RMS current against corrected ampacity",
        [
            MarginBar("Drive, front left", 31.4, 48.0, "A", "ok"),
            MarginBar("Lift", 38.9, 40.0, "A", "watch", "3 % left"),
            MarginBar("Intake roller", 21.6, 20.0, "A", "fix", "next size up", "#"),
            MarginBar("Pump", 17.0, 10.0, "A", "stop", "70 % over", "#"),
            MarginBar("Status beacon", None, 7.0, "A", "unknown", "no load entered"),
        ],
    )


def ledger_example() -> LedgerChart:
    """Ring terminals that will not last through the event."""
    moves = [
        (0, 120, "received"),
        (12, 96, "used, robot build"),
        (20, 84, "used"),
        (31, 60, "used"),
        (33, 58, "count"),
    ]
    first = date(2026, 2, 1)
    return LedgerChart(
        title="Ring terminal M6, 16 mm²",
        unit="pieces",
        steps=[LedgerStep(first + timedelta(days=day), left, what) for day, left, what in moves],
        summary="58 on the shelf; the event will take about 46, which leaves 12: less than 20.",
        minimum=20,
        event_day=date(2026, 3, 24),
        event_label="Estuary Spring Meet",
        need=46,
        today=TODAY,
        chart_id="specimen-ledger",
    )


def timeline_example() -> Timeline:
    """A morning of battery rotation."""

    def at(hour: int, minute: int = 0) -> datetime:
        return datetime(2026, 3, 24, hour, minute, tzinfo=UTC)

    return Timeline(
        title="Battery rotation, Saturday morning",
        summary="GP-02 goes out next, for match 14 at 11:10. GP-05 must not go out again.",
        lanes=[
            Lane(
                "GP-01", [Span(at(8, 40), at(9, 5), "m 3"), Span(at(9, 15), at(11, 40), "charging", "charge")]
            ),
            Lane(
                "GP-02",
                [Span(at(8), at(10, 10), "charging", "charge"), Span(at(11, 5), at(11, 25), "m 14", "plan")],
            ),
            Lane("GP-03", [Span(at(9, 50), at(10, 15), "m 8"), Span(at(10, 15), at(10, 45), "rest", "rest")]),
            Lane("GP-05", [Span(at(9, 20), at(9, 45), "m 6", "late")], [Moment(at(9, 44), "brown-out")]),
        ],
        now=at(10, 52),
        chart_id="specimen-timeline",
    )


def control_example() -> ControlChart:
    """Nine readings in line, and a newest one that is not."""
    off = (0.1, -0.2, 0.0, 0.2, -0.1, 0.1, -0.1, 0.0, 0.1, 1.4)
    return ControlChart(
        title="Newest reading of GP-03 against its own history",
        unit="mΩ",
        points=[(date(2026, 1, 1) + timedelta(days=7 * n), value) for n, value in enumerate(off)],
        lower=-0.5,
        upper=0.5,
        summary="1.40 mΩ above its own line: check the lugs, then measure again.",
        chart_id="specimen-control",
    )


def fleet_example() -> FleetStrip:
    """Three batteries: one worn, one fit, one without a baseline."""
    return FleetStrip(
        title="Resistance of all batteries over their own baselines",
        rows=[
            FleetRow("GP-07", "#fleet", "Retire", "stop", (12.0, 30.0, 52.0, 64.0), 61.0),
            FleetRow("GP-01", "#fleet", "Fit", "ok", (-1.0, 2.0, 1.0, 3.0), 2.0),
            FleetRow("GP-10", "#fleet", "Cannot judge", "unknown", note="no baseline: 2 of 3 readings"),
        ],
        limits=[
            FleetLimit(20, "watch", "watch"),
            FleetLimit(30, "practice only", "fix"),
            FleetLimit(50, "retire", "stop"),
        ],
        summary="Per cent over each battery's own first readings.",
        chart_id="specimen-fleet",
    )


def working_example() -> dict[str, Any]:
    """Voltage drop of one circuit, as a flag shows it."""
    return {
        "steps": [
            {
                "label": "Resistance of the conductor, there and back",
                "formula": "R = 2 · l · ρ₂₀ / A",
                "numbers": {"l": (1.4, "m"), "ρ₂₀": (0.01724, "Ω·mm²/m"), "A": (2.08, "mm²")},
                "result": 23.2,
                "unit": "mΩ",
            },
            {
                "label": "Drop at the peak current",
                "formula": "ΔU = R · I",
                "numbers": {"R": (0.0232, "Ω"), "I": (38.0, "A")},
                "result": 0.88,
                "unit": "V",
            },
        ],
        "limit": {"label": "at most", "value": 0.6, "unit": "V (5 % of 12 V)"},
        "conclusion": "0.28 V too much. 4 mm² brings it to 0.46 V.",
        "source": "IEC 60228 (annealed copper, 20 °C); limit from the rule pack",
        "status": "limit: common practice, no source",
    }


def specimen_context() -> dict[str, Any]:
    """Return everything the specimen page shows."""
    wrong = ReadingForm({"resistance_mohm": "-3", "taken_on": "2026-03-12", "method": "step"})
    batteries = [
        ("GP-01", "ok", [12.0, 12.1, 12.0, 12.2, 12.1], 12.1, 41, 0.98),
        ("GP-04", "fix", [12.1, 12.6, 13.1, 13.9, 14.8], 14.8, 73, 0.81),
        ("GP-05", "stop", [13.0, 14.1, 15.9, 19.4], 19.4, 118, 0.64),
        ("GP-09", "unknown", [12.4], 12.4, None, None),
    ]
    return {
        "team": {"name": "Gull Point", "slug": "gull-point"},
        "role": "mentor",
        "nav": NAV,
        "nav_key": "batteries",
        "demo_data": True,
        "late_jobs": ["battery sweep"],
        "form": ReadingForm(),
        "wrong_form": wrong,
        "batteries": batteries,
        "circuits": CIRCUITS,
        "trend": trend_example(),
        "margins": margins_example(),
        "ledger": ledger_example(),
        "control": control_example(),
        "fleet": fleet_example(),
        "rotation": timeline_example(),
        "feed": feed_tree_example(),
        "voltage": voltage_example(),
        "duty": duty_example(),
        "working": working_example(),
        "severities": ("stop", "fix", "watch", "unknown", "ok"),
        "tabs": [("Open", "#", "open", 7), ("Waived", "#", "waived", 2), ("Cleared", "#", "cleared", 31)],
        "entries": [
            {
                "when": datetime(2026, 3, 11, 18, 4, tzinfo=UTC),
                "who": "mara",
                "what": "size from 14 to 10 AWG",
            },
            {
                "when": datetime(2026, 3, 9, 2, 0, tzinfo=UTC),
                "who": "",
                "what": "flag opened",
                "detail": "drop 0.88 V",
            },
        ],
        "job": {"label": "Load sweep", "state": "running", "done": 3, "total": 5, "finished": True},
        "plain_table": {
            "caption": "Conductors on the shelf",
            "columns": [
                {"label": "Spool", "kind": "code"},
                {"label": "Area, mm²", "kind": "num", "decimals": "0-2"},
                {"label": "Left, m", "kind": "num", "decimals": 1},
                {"label": "State", "kind": "severity"},
            ],
            "rows": [
                ["SP-011", 2.08, 14.2, "ok"],
                ["SP-012", 16, 1.6, "fix"],
                ["SP-013", 5.3, None, "unknown"],
            ],
        },
    }
