# ruff: noqa: E501 -- a branch stays on one line
"""Example drawings of a robot's power for the specimen page: an invented robot with a weak arm and a tired battery."""

from __future__ import annotations

import math

from shared.web.charts import (
    DutyChart,
    DutyStep,
    FeedBranch,
    FeedTreeChart,
    RunBand,
    VoltageTrace,
    VoltLevel,
)
from shared.web.charts.voltage import times_below

# key, name, fed from, mm2, wire, device, kind, A, V there, severity, note
BRANCHES = [
    ("MAIN", "MAIN Battery to board", "", 21.1, "4 AWG, 0.6 m", "main breaker 120 A", "breaker", 287.4, 9.62, "watch", "0.4 V above its limit"),
    ("DRIVE-1", "DRIVE-1 Drive, front left", "MAIN", 5.26, "10 AWG, 0.9 m", "breaker 40 A", "breaker", 66.3, 9.11, "ok", ""),
    ("DRIVE-2", "DRIVE-2 Drive, front right", "MAIN", 5.26, "10 AWG, 0.9 m", "breaker 40 A", "breaker", 66.1, 9.12, "ok", ""),
    ("DRIVE-3", "DRIVE-3 Drive, rear left", "MAIN", 5.26, "10 AWG, 1.1 m", "breaker 40 A", "breaker", 65.0, 9.02, "ok", ""),
    ("ARM-1", "ARM-1 Arm motor at the shoulder", "MAIN", 1.31, "16 AWG, 2.4 m", "breaker 30 A", "breaker", 41.8, 7.05, "stop", "wire burns before the breaker opens"),
    ("ARM-2", "ARM-2 Arm motor at the elbow, second stage, with the long lead", "MAIN", 3.31, "12 AWG, 1.5 m", "breaker 30 A", "breaker", 40.2, 8.67, "fix", "0.1 V below its limit"),
    ("CTRL", "CONTROLLER Main controller", "MAIN", 0.82, "18 AWG, 0.5 m", "fuse 5 A", "fuse", 1.4, 9.55, "ok", "2.8 V above what it needs"),
    ("REG", "REGULATOR Feed of the 5 V board", "MAIN", 2.08, "14 AWG, 0.5 m", "fuse 15 A", "fuse", 4.6, 9.5, "ok", ""),
    ("RADIO", "RADIO Radio", "REG", 0.82, "18 AWG, 0.9 m", "fuse 3 A", "fuse", 1.1, 4.96, "ok", "0.5 V above what it needs"),
    ("CAMS", "CAMERAS Hub of the cameras", "REG", 0.82, "18 AWG, 0.7 m", "fuse 3 A", "fuse", 1.6, 4.95, "ok", ""),
    ("CAM-1", "CAMERA-1 Camera, front", "CAMS", 0.33, "22 AWG, 0.4 m", "", "", 0.8, 4.91, "ok", ""),
    ("CAM-2", "CAMERA-2 Camera, rear", "CAMS", 0.33, "22 AWG, 1.2 m", "", "", 0.8, 4.83, "watch", "at the lower end of 5 V"),
    ("BEACON", "BEACON Status beacon", "REG", 0.5, "20 AWG", "fuse 2 A", "fuse", None, None, "unknown", "no length entered"),
]  # fmt: skip


def feed_tree_example() -> FeedTreeChart:
    """Three levels, every verdict, a long name and a branch that cannot be judged."""
    return FeedTreeChart(
        title="Heron, build 7: drive and arm push together",
        source="Battery GP-04",
        source_note="10.31 V at its posts, 24.8 mΩ as measured",
        branches=[
            FeedBranch(key, name, parent, area, wire, device, kind, amps, volts, severity, note, "#")
            for key, name, parent, area, wire, device, kind, amps, volts, severity, note in BRANCHES
        ],
        summary="The board falls to 9.6 V; the controller needs 6.8 V. The lead of ARM-1 is too thin for its breaker.",
        chart_id="specimen-feed",
    )


def voltage_example() -> VoltageTrace:
    """A whole match at 20 ms: cruising, pushes, one dip below what the radio needs."""
    points = []
    for n in range(7501):
        t = n * 0.02
        volts = 12.1 - 0.006 * t - 0.5 * (1 + math.sin(t / 2.3)) - 0.25 * (1 + math.sin(t * 1.7))
        volts -= 3.5 * math.exp(-(((t - 84.2) / 1.4) ** 2)) + 1.3 * math.exp(-(((t - 31.0) / 2.0) ** 2))
        points.append((t, round(volts, 3)))
    band = [
        RunBand(float(t), 7.9 + 0.4 * math.sin(t / 9) - 0.006 * t, 12.5 - 0.004 * t) for t in range(0, 151, 3)
    ]
    return VoltageTrace(
        title="Board voltage over a match, GP-04",
        points=points,
        levels=[
            VoltLevel(8.5, "radio needs", "fix", sum(b - a for a, b in times_below(points, 8.5))),
            VoltLevel(6.8, "controller needs", "stop", 0.0),
        ],
        band=band,
        band_label="lowest and highest of 200 runs",
        summary="The board falls to 8 V when drive and arm push together; the radio restarts below 8.5 V.",
        chart_id="specimen-voltage",
    )


def duty_example() -> DutyChart:
    """A drive motor's round."""
    return DutyChart(
        title="Duty profile DRIVE",
        steps=[
            DutyStep("wait", 2.0, 0.0, 0.0),
            DutyStep("start", 0.6, 1.0, 0.6),
            DutyStep("cruise", 5.0, 0.45, 0.15),
            DutyStep("push", 2.4, 1.0, 0.9),
            DutyStep("turn", 2.0, 0.7, 0.3),
        ],
        chart_id="specimen-duty",
    )
