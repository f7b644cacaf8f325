"""The drawings of a robot's power: every branch once and in its place, no dip lost, nothing odd breaks a page."""

from __future__ import annotations

import math
import re
from itertools import pairwise
from xml.etree import ElementTree as ET

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from shared.web.charts import (
    DutyChart,
    DutyStep,
    FeedBranch,
    FeedTreeChart,
    RunBand,
    VoltageTrace,
    VoltLevel,
    duty_chart,
    feed_tree,
    voltage_trace,
)
from shared.web.charts.duty import corners, mean_draw
from shared.web.charts.feed_tree import THICKEST, THINNEST, cut, rows_of, stroke_of
from shared.web.charts.voltage import lowest, thinned, times_below


def tree(html: str) -> ET.Element:
    """Parse the markup as XML: it must be well formed, and no number in it may be undefined."""
    assert not re.search(r"\b(nan|inf)\b", html, re.IGNORECASE)
    return ET.fromstring(f"<div>{html.replace(' data-zoom>', '>')}</div>")


def found(root: ET.Element, class_name: str) -> list[ET.Element]:
    return [node for node in root.iter() if class_name in node.get("class", "").split()]


MAIN = FeedBranch(
    "M", "MAIN", "", 21.1, "4 AWG", "breaker 120 A", "breaker", 287.4, 9.62, "watch", "near", "/m/"
)
DRIVE = FeedBranch("D", "DRIVE", "M", 5.26, "10 AWG", "fuse 40 A", "fuse", 66.3, 9.11, "ok", "", "/d/")
ARM = FeedBranch("A", "ARM", "M", 1.31, "16 AWG", "fuse 30 A", "fuse", 41.8, 7.05, "stop", "burns", "/a/")
REG = FeedBranch("R", "REG", "M", 2.08, current_a=4.0, far_v=9.5)
RADIO = FeedBranch("X", "RADIO", "R", None, severity="unknown", note="no length")


# --- feed tree ---------------------------------------------------------------------------------------
def test_branches_hang_under_what_feeds_them_in_the_order_given():
    rows = rows_of([RADIO, ARM, REG, DRIVE, MAIN])
    assert [(row.branch.key, row.depth) for row in rows] == [("M", 0), ("A", 1), ("R", 1), ("X", 2), ("D", 1)]
    assert {row.branch.key: row.last_fed for row in rows} == {"M": 4, "A": None, "R": 3, "X": None, "D": None}


def test_a_lost_feed_and_a_ring_hang_on_the_battery_instead_of_vanishing():
    ring = [FeedBranch("1", "one", "2"), FeedBranch("2", "two", "1"), FeedBranch("3", "three", "1")]
    lost = FeedBranch("4", "four", "nowhere")
    rows = rows_of([*ring, lost])
    assert {row.branch.key: row.depth for row in rows} == {"1": 0, "2": 0, "3": 1, "4": 0}


@st.composite
def forests(draw: st.DrawFn) -> list[FeedBranch]:
    size = draw(st.integers(1, 60))
    parents = [draw(st.sampled_from(["", *map(str, range(size)), "gone"])) for _ in range(size)]
    return [FeedBranch(str(n), f"branch {n}", parent) for n, parent in enumerate(parents)]


@given(forests())
@settings(max_examples=60, deadline=None)
def test_whatever_feeds_whatever_each_branch_is_drawn_once_below_its_feed(branches):
    rows = rows_of(branches)
    assert sorted(row.branch.key for row in rows) == sorted(branch.key for branch in branches)
    assert [row.place for row in rows] == list(range(len(rows)))
    for before, after in pairwise(rows):
        assert after.depth <= before.depth + 1
    html = feed_tree(FeedTreeChart("T", branches))
    drawing = found(tree(html), "draw--compact")[0]
    assert len(found(drawing, "d-rung")) == len(branches)


def test_a_row_is_a_link_that_says_all_it_shows():
    root = tree(feed_tree(FeedTreeChart("T", [MAIN, DRIVE, ARM, REG, RADIO], chart_id="f1")))
    wide = found(root, "draw--wide")[0]
    links = {node.get("href"): " ".join("".join(node.itertext()).split()) for node in wide.iter("a")}
    assert links["/a/"] == "ARM 16 AWG · fuse 30 A 41.8 A 7.05 V Stop burns"
    assert wide.get("role") == "group"  # a picture (img) would hide its links from screen readers
    assert found(root, "d-verdict--stop")[0].text == "Stop"


def test_a_row_without_a_link_is_spoken_too():
    root = tree(feed_tree(FeedTreeChart("T", [RADIO])))
    row = found(found(root, "draw--wide")[0], "d-row")[0]
    assert (row.tag, row.get("role"), row.get("aria-label")) == ("g", "img", "RADIO, Cannot judge, no length")


def test_lines_weigh_what_their_conductors_do():
    """By hand: 1.45 times the root of the area, held between the thinnest and the thickest pen."""
    assert stroke_of(4.0) == pytest.approx(2.9)
    assert stroke_of(None) == stroke_of(math.nan) == stroke_of(0.1) == THINNEST
    assert stroke_of(500.0) == THICKEST
    root = tree(feed_tree(FeedTreeChart("T", [MAIN, DRIVE, ARM])))
    weights = [
        float(node.get("stroke-width", "0")) for node in found(found(root, "draw--wide")[0], "d-rung--watch")
    ]
    assert weights == [6.7]


def test_missing_figures_are_dashes_and_no_branch_is_said_in_words():
    html = feed_tree(FeedTreeChart("T", [RADIO, FeedBranch("N", "N", current_a=math.nan, far_v=math.inf)]))
    assert "– A  – V" in html
    assert "no branch is entered yet" in feed_tree(FeedTreeChart("T"))


def test_the_table_names_the_feed_of_every_branch():
    root = tree(feed_tree(FeedTreeChart("T", [MAIN, ARM], source="Battery GP-04")))
    rows = ["|".join("".join(cell.itertext()).strip() for cell in row) for row in root.iter("tr")]
    assert rows[1].startswith("MAIN|Battery GP-04|4 AWG · breaker 120 A|287.4|9.62|Watch|near")
    assert rows[2].startswith("ARM|MAIN|")


def test_names_are_escaped_and_long_ones_cut():
    html = feed_tree(FeedTreeChart("<T>", [FeedBranch("1", "<script>" + "x" * 200)]))
    assert "<script>" not in html
    assert cut("abcdef", 4) == "abc…"
    assert cut("abcd", 4) == "abcd"


# --- voltage -----------------------------------------------------------------------------------------
def test_the_lowest_point_is_marked_where_it_is():
    """By hand: x runs from 58 to 860 over 100 s."""
    root = tree(voltage_trace(VoltageTrace("Board", [(0.0, 12.0), (50.0, 8.0), (100.0, 12.0)])))
    wide = found(root, "draw--wide")[0]
    at = re.findall(r"[\d.]+", found(wide, "d-moment")[0].get("d", ""))
    assert float(at[0]) == pytest.approx(459.0, abs=0.1)
    assert "8.00 V at 50.0 s" in "".join(wide.itertext())


def test_seconds_below_are_counted_between_the_points():
    """By hand: from 12 to 8 V in 10 s the line meets 10 V after 5 s, and again 5 s after the lowest."""
    points = [(0.0, 12.0), (10.0, 8.0), (20.0, 12.0)]
    assert times_below(points, 10.0) == [(5.0, 15.0)]
    assert times_below(points, 7.0) == []
    assert times_below(points, 13.0) == [(0.0, 20.0)]


@given(st.lists(st.floats(0, 15), min_size=2, max_size=800), st.integers(1, 40))
def test_thinning_keeps_the_lowest_the_highest_and_the_order(volts, parts):
    points = [(0.02 * n, v) for n, v in enumerate(volts)]
    kept = thinned(points, parts)
    assert lowest(kept)[1] == min(volts)
    assert max(v for _, v in kept) == max(volts)
    assert [t for t, _ in kept] == sorted(t for t, _ in kept)
    assert (kept[0], kept[-1]) == (points[0], points[-1])
    assert len(kept) <= max(4 * parts, 4)


@given(st.lists(st.floats(0, 15), min_size=2, max_size=60), st.floats(0, 15))
def test_time_below_and_time_above_make_the_whole(volts, level):
    points = [(float(n), v) for n, v in enumerate(volts)]
    below = sum(end - start for start, end in times_below(points, level))
    above = sum(end - start for start, end in times_below([(t, -v) for t, v in points], -level))
    flat = sum(1.0 for (_, a), (_, b) in pairwise(points) if a == b == level)
    assert below + above + flat == pytest.approx(len(volts) - 1, abs=1e-6)


def test_levels_are_named_on_their_lines_and_in_seconds():
    levels = [VoltLevel(6.8, "controller needs", "stop", 0.0), VoltLevel(8.5, "radio needs", "fix", 1.25)]
    html = voltage_trace(VoltageTrace("Board", [(0.0, 12.0), (1.0, 8.0), (2.0, 12.0)], levels))
    root = tree(html)
    assert len(found(root, "d-level--stop")) == 2  # once in each size
    assert "controller needs 6.8 V" in html
    assert "below for 1.25 s" in html
    assert "never below" in html
    assert len(found(found(root, "draw--wide")[0], "d-below--fix")) == 1


def test_a_band_a_flat_trace_and_no_trace():
    band = [RunBand(0.0, 9.0, 12.0), RunBand(1.0, math.nan, 12.0), RunBand(2.0, 8.0, 11.0)]
    root = tree(voltage_trace(VoltageTrace("B", [(0.0, 12.0), (2.0, 12.0)], band=band, band_label="40 runs")))
    assert found(root, "d-band")
    assert "40 runs" in "".join(root.itertext())
    assert tree(voltage_trace(VoltageTrace("B", [(5.0, 12.0)])))
    assert "nothing simulated yet" in voltage_trace(VoltageTrace("B", [(math.nan, 1.0)]))


# --- duty --------------------------------------------------------------------------------------------
STEPS = [DutyStep("wait", 2.0, 0.0), DutyStep("push", 6.0, 1.0, 0.9), DutyStep("turn", 2.0, 0.5, 0.2)]


def test_one_round_is_averaged_by_its_seconds():
    """By hand: (6 * 100 % + 2 * 50 %) / 10 s = 70 %."""
    assert mean_draw(STEPS) == pytest.approx(0.7)
    assert "One round takes 10 s; averaged over it the draw is 70% of full." in duty_chart(
        DutyChart("D", STEPS)
    )


def test_phases_are_steps():
    assert corners(STEPS[:2], [0.0, 1.0]) == [(0.0, 0.0), (2.0, 0.0), (2.0, 1.0), (8.0, 1.0)]
    root = tree(duty_chart(DutyChart("D", STEPS)))
    assert len(found(found(root, "draw--wide")[0], "d-ahead")) == 1
    names = [node.text for node in found(found(root, "draw--wide")[0], "d-mid")]
    assert {"wait", "push", "turn"} <= set(names)


def test_a_phase_of_no_length_is_left_out_and_an_empty_profile_says_so():
    assert "no phase of any length" in duty_chart(DutyChart("D", [DutyStep("x", 0.0, 1.0)]))
    html = duty_chart(DutyChart("D", [*STEPS, DutyStep("x", math.nan, 1.0)]))
    assert "The 3 phases as a table" in html
