"""The drawings of batteries: outings on the axis, the newest reading among its limits, a fleet on one scale."""

from __future__ import annotations

from datetime import date, datetime, timedelta
from xml.etree.ElementTree import Element

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from shared.web.charts import (
    ControlChart,
    FleetLimit,
    FleetRow,
    FleetStrip,
    TrendChart,
    TrendPoint,
    TrendWords,
    control_chart,
    fleet_strip,
    trend_chart,
)
from shared.web.charts.fleet import bounds
from tests.shared.web.test_charts import day, found, points, tree

LIMITS = (
    FleetLimit(20, "watch", "watch"),
    FleetLimit(30, "practice only", "fix"),
    FleetLimit(50, "retire", "stop"),
)


def number_of(node: Element, name: str) -> float:
    return float(node.get(name, "nan"))


def x_of(node: Element) -> float:
    return number_of(node, "x1")


def test_outings_stand_on_the_axis_by_their_day():
    marks = [day(5), datetime(2026, 1, 11, 9, 30), day(400)]
    root = tree(trend_chart(TrendChart("R", "mΩ", points(12, 13, 14), marks=marks)))
    wide = found(root, "draw--wide")[0]
    rugs = [x_of(node) for node in found(wide, "d-rug")]
    assert len(rugs) == 2, "one outside the axis is left out"
    circles = sorted(number_of(node, "cx") for node in found(wide, "d-mark"))
    assert rugs[0] == pytest.approx((circles[0] + circles[1]) / 2, abs=0.2)
    assert "outing" in "".join(root.itertext())


def test_words_of_another_quantity_are_used_throughout():
    chart = TrendChart(
        "Capacity", "%", [TrendPoint(day(0), 96.0, "test"), TrendPoint(day(9), 50.0, "test", counted=False)],
        words=TrendWords("capacity tests", "What", "the verdict"),
    )  # fmt: skip
    text = "".join(tree(trend_chart(chart)).itertext())
    assert "The 2 capacity tests as a table" in text
    assert "hollow: not counted in the verdict" in text
    assert "no capacity tests yet" in trend_chart(TrendChart("C", "%", words=TrendWords("capacity tests")))
    assert "The same as a table" in trend_chart(TrendChart("C", "%", points(1.0)))


def control(*values: float, lower: float = -1.0, upper: float = 1.0) -> ControlChart:
    return ControlChart(
        "Newest", "mΩ", [(day(7 * n), v) for n, v in enumerate(values)], lower, upper, "Told."
    )


def test_the_newest_is_marked_and_told_apart_outside_the_limits():
    inside, outside = (tree(control_chart(control(0.1, -0.2, last))) for last in (0.4, 1.4))
    assert len(found(inside, "d-newest")) == 2
    assert not found(inside, "d-newest--out")
    assert len(found(outside, "d-newest--out")) == 2
    assert "Told." in "".join(outside.itertext())


def test_limits_stand_where_they_are():
    wide = found(tree(control_chart(control(0.0, 0.5))), "draw--wide")[0]
    upper, middle, lower = (number_of(node, "y1") for node in found(wide, "d-level"))
    assert upper < middle < lower
    assert middle - upper == pytest.approx(lower - middle, abs=0.11)


def test_too_few_values_say_so_and_draw_nothing():
    html = control_chart(ControlChart("Newest", "mΩ", summary="Needs 8 readings."))
    assert "Needs 8 readings." in html
    assert "<svg" not in html


def fleet() -> FleetStrip:
    return FleetStrip(
        "All",
        (
            FleetRow("B01", "/b/1/", "Retire", "stop", (20.0, 60.0), 65.0),
            FleetRow("B02", "/b/2/", "Fit", "ok", (-1.0, 2.0), 3.0),
            FleetRow("B03", "/b/3/", "Cannot judge", "unknown", note="no baseline: 2 of 3 readings"),
        ),
        LIMITS,
    )


def test_all_batteries_share_one_scale_and_each_is_a_link():
    root = tree(fleet_strip(fleet()))
    wide = found(root, "draw--wide")[0]
    links = [(node.get("href"), " ".join("".join(node.itertext()).split())) for node in found(wide, "d-row")]
    assert links == [
        ("/b/1/", "B01 +65 % Retire"),
        ("/b/2/", "B02 +3 % Fit"),
        ("/b/3/", "B03 no baseline: 2 of 3 readings Cannot judge"),
    ]
    baseline, watch, practice, retire = (x_of(node) for node in found(wide, "d-level"))
    assert (practice - baseline) / (retire - baseline) == pytest.approx(0.6, abs=0.01)
    assert baseline < watch < practice < retire
    starts = [float(node.get("d", "").split("M")[1].split()[0]) for node in found(wide, "d-level-now")]
    assert (starts[0] - baseline) / (retire - baseline) == pytest.approx(65 / 50, abs=0.01)


def test_the_table_says_the_same():
    text = " ".join("".join(tree(fleet_strip(fleet())).itertext()).split())
    assert "B01 +65 % Retire" in text.replace("B01+65 %Retire", "B01 +65 % Retire")
    assert "no baseline: 2 of 3 readings" in text
    assert "no battery yet" in fleet_strip(FleetStrip("All"))


LEVELS = st.one_of(st.none(), st.floats(-60, 900), st.just(float("nan")))


@given(st.lists(st.tuples(LEVELS, st.lists(st.floats(-100, 2000), max_size=5)), min_size=1, max_size=8))
@settings(max_examples=40, deadline=None)
def test_whatever_the_figures_all_stays_inside(rows):
    drawn = [
        FleetRow(f"B{n}", "/", "Fit", "ok", rises, level, "none") for n, (level, rises) in enumerate(rows)
    ]
    chart = FleetStrip("All", drawn, LIMITS)
    low, high = bounds(chart)
    assert low < 0 < 50 < high
    wide = found(tree(fleet_strip(chart)), "draw--wide")[0]
    assert all(0 <= number_of(node, "cx") <= 880 for node in found(wide, "d-faint"))


@given(st.lists(st.floats(-50, 50), min_size=1, max_size=12), st.floats(0.01, 20))
@settings(max_examples=40, deadline=None)
def test_a_control_chart_can_always_be_drawn(values, reach):
    first = date(2026, 1, 1)
    rows = [(first + timedelta(days=3 * n), value) for n, value in enumerate(values)]
    root = tree(control_chart(ControlChart("N", "mΩ", rows, -reach, reach)))
    assert len(found(root, "d-newest")) == 2
