"""The drawings: things stand where their numbers say, and nothing odd in the data breaks a page."""

from __future__ import annotations

import math
import re
from datetime import UTC, date, datetime, timedelta
from xml.etree import ElementTree as ET

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from shared.web.charts import (
    BandPoint,
    Crossing,
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
    ledger_chart,
    margin_bar,
    margin_bars,
    sparkline,
    timeline,
    trend_chart,
)
from shared.web.charts.ledger import step_corners
from shared.web.charts.margin import percent, used_frac
from shared.web.charts.timeline import time_ticks
from shared.web.charts.trend import date_span

START = date(2026, 1, 1)


def tree(html: str) -> ET.Element:
    """Parse the markup as XML: it must be well formed, and no number in it may be undefined."""
    assert not re.search(r"\b(nan|inf)\b", html, re.IGNORECASE)
    return ET.fromstring(f"<div>{html}</div>")


def found(root: ET.Element, class_name: str) -> list[ET.Element]:
    return [node for node in root.iter() if class_name in node.get("class", "").split()]


def day(n: int) -> date:
    return START + timedelta(days=n)


def points(*values: float) -> list[TrendPoint]:
    return [TrendPoint(day(10 * n), value, "Bench") for n, value in enumerate(values)]


# --- sparkline ---------------------------------------------------------------------------------------
def test_a_sparkline_rises_when_its_values_rise():
    root = tree(sparkline([1.0, 2.0, 4.0]))
    numbers = [float(text) for text in re.findall(r"[\d.]+", found(root, "d-spark")[0].get("d", ""))]
    assert numbers == [3.0, 21.0, 48.0, 15.0, 93.0, 3.0]  # x evenly spread, y from the foot to the top
    dot = found(root, "d-last")[0]
    assert (dot.get("cx"), dot.get("cy")) == ("93", "3")


def test_a_sparkline_takes_pairs_and_skips_what_is_missing():
    with_gaps = sparkline([(day(0), 1.0), (day(1), None), (day(2), math.nan), (day(3), 3.0)])
    assert "2 readings, from 1 to 3" in with_gaps


def test_one_value_is_a_dot_without_a_line():
    root = tree(sparkline([5.0]))
    assert len(found(root, "d-last")) == 1
    assert found(root, "d-spark") == []


def test_no_value_is_said_in_words():
    assert sparkline([]) == sparkline([None, math.nan]) == '<span class="soft">no readings</span>'


def test_the_limit_stands_above_lower_values():
    root = tree(sparkline([1.0, 2.0], limit=5.0))
    assert float(found(root, "d-limit")[0].get("y1", "")) < float(found(root, "d-last")[0].get("cy", ""))


# --- trend -------------------------------------------------------------------------------------------
def test_a_trend_is_drawn_in_two_sizes_with_name_and_description():
    root = tree(trend_chart(TrendChart("Resistance", "mΩ", points(12, 13), summary="Rising.", chart_id="b7")))
    drawings = found(root, "draw")
    assert [d.get("class") for d in drawings] == ["draw draw--wide", "draw draw--compact"]
    assert [d.get("aria-labelledby") for d in drawings] == ["b7-wide-t", "b7-compact-t"]
    assert root.find(".//title") is not None
    assert "".join(found(root, "chart")[0].find("figcaption").itertext()) == "Rising."  # type: ignore[union-attr]


def test_points_stand_where_their_numbers_say():
    """By hand: x runs from 62 to 856 over 20 days; 10 and 14 with 8 % air give an axis from 9.68 to 14.32."""
    root = tree(trend_chart(TrendChart("R", "mΩ", points(10, 14, 12))))
    wide = found(root, "draw--wide")[0]
    marks = found(wide, "d-mark--circle")
    assert [mark.get("cx") for mark in marks] == ["62", "459", "856"]
    foot, top = 306.0, 24.0
    expected = [foot + (value - 9.68) / (14.32 - 9.68) * (top - foot) for value in (10, 14, 12)]
    assert [float(mark.get("cy", "")) for mark in marks] == pytest.approx(expected, abs=0.06)


def test_each_instrument_has_its_own_shape_and_what_does_not_count_is_hollow():
    data = [
        TrendPoint(day(0), 12, "Bench"),
        TrendPoint(day(5), 13, "Hand"),
        TrendPoint(day(9), 20, "Hand", False, "cold"),
    ]
    html = trend_chart(TrendChart("R", "mΩ", data))
    wide = found(tree(html), "draw--wide")[0]
    assert len(found(wide, "d-mark--circle")) == 1
    assert len(found(wide, "d-mark--square")) == 2
    assert len(found(wide, "d-mark--out")) == 1
    assert "hollow: not counted in the trend" in html
    assert "<td>cold</td>" in html


def test_levels_are_named_on_the_line():
    chart = TrendChart("R", "mΩ", points(12, 13), baseline=12.0, thresholds=[Threshold(15, "stop", "stop")])
    html = trend_chart(chart)
    assert "baseline 12.0" in html
    assert "stop 15.0" in html
    wide = found(tree(html), "draw--wide")[0]
    stop, base = found(wide, "d-level--stop")[0], found(wide, "d-level--baseline")[0]
    assert float(stop.get("y1", "")) < float(base.get("y1", ""))


def test_a_closed_crossing_is_drawn_between_its_dates_and_an_open_one_ends_in_an_arrow():
    closed = TrendChart("R", "mΩ", points(12, 13, 14), crossing=Crossing(15, day(25), day(30), day(35)))
    crossings = found(found(tree(trend_chart(closed)), "draw--wide")[0], "d-cross")
    assert [node.tag for node in crossings] == ["line", "line", "line"]
    open_ended = TrendChart("R", "mΩ", points(12, 13, 14), crossing=Crossing(15, day(25)))
    crossings = found(found(tree(trend_chart(open_ended)), "draw--wide")[0], "d-cross")
    assert [node.tag for node in crossings] == ["line", "line", "path"]


def test_a_crossing_far_away_does_not_squeeze_the_readings():
    chart = TrendChart("R", "mΩ", points(12, 13, 14), crossing=Crossing(15, day(400), day(900), day(2000)))
    assert date_span(chart, chart.points) == (day(0), day(50))  # 20 days read, 30 days ahead at least
    assert found(found(tree(trend_chart(chart)), "draw--wide")[0], "d-cross") == []


@pytest.mark.parametrize("values", [[], [math.nan], [math.inf, -math.inf]])
def test_nothing_to_draw_is_said(values):
    html = trend_chart(TrendChart("R", "mΩ", points(*values)))
    assert "no readings yet" in html
    assert "<svg" not in html


def test_what_people_typed_is_escaped():
    data = [TrendPoint(day(0), 12, "<script>x</script>", note="a<b")]
    html = trend_chart(TrendChart("R & <b>", "mΩ", data, summary="<i>"))
    assert "<script" not in html
    assert "<b>" not in html
    assert "<i>" not in html


ANY = st.floats(allow_nan=True, allow_infinity=True, width=32)
SOME = st.floats(-1e4, 1e4)
DAY = st.dates(date(2020, 1, 1), date(2030, 12, 31))


@settings(max_examples=60)
@given(
    st.lists(st.builds(TrendPoint, DAY, ANY, st.sampled_from("abcdefg"), st.booleans()), max_size=12),
    st.none() | ANY,
    st.lists(
        st.builds(Threshold, ANY, st.just("limit"), st.sampled_from(["watch", "fix", "stop"])), max_size=3
    ),
    st.lists(st.tuples(DAY, ANY), max_size=4),
    st.lists(st.builds(BandPoint, DAY, ANY, ANY), max_size=4),
    st.none() | st.builds(Crossing, SOME, DAY, st.none() | DAY, st.none() | DAY),
    st.none() | DAY,
)
def test_any_data_gives_well_formed_drawings_inside_their_frame(
    data, base, levels, fit, band, crossing, today
):
    chart = TrendChart("R", "mΩ", data, "", base, "baseline", fit, band, levels, crossing, today)
    root = tree(trend_chart(chart))
    for drawing in found(root, "draw"):
        _, _, width, height = map(float, drawing.get("viewBox", "").split())
        for node in drawing.iter():
            for name, most in (("cx", width), ("x1", width), ("x2", width), ("cy", height), ("y1", height)):
                if node.get(name) is not None:
                    assert -1 <= float(node.get(name, "")) <= most + 1


# --- margins -----------------------------------------------------------------------------------------
@pytest.mark.parametrize(
    ("used", "limit", "width", "over"),
    [
        (0, 20, 0.0, None),
        (10, 20, 50.0, None),
        (20, 20, 100.0, None),
        (22, 20, 100.0, 10.0),
        (90, 20, 100.0, 25.0),
    ],
)
def test_a_bar_is_as_long_as_its_share_of_the_limit(used, limit, width, over):
    root = tree(margin_bar(used, limit))
    assert float(found(root, "d-used")[0].get("width", "")) == width
    beyond = found(root, "d-over")
    assert [float(node.get("width", "")) for node in beyond] == ([] if over is None else [over])
    assert found(root, "d-stop")[0].get("x1") == "100"


@pytest.mark.parametrize(
    ("used", "limit"), [(None, 1), (1, None), (1, 0), (-1, 1), (math.nan, 1), (1, math.inf), (1, -5)]
)
def test_what_cannot_be_judged_is_an_empty_dashed_bar(used, limit):
    assert used_frac(used, limit) is None
    assert 'aria-label="cannot judge"' in margin_bar(used, limit)
    assert found(tree(margin_bar(used, limit)), "d-blank")


@pytest.mark.parametrize(
    ("frac", "text"), [(0.0, "0 %"), (0.994, "99 %"), (1.0, "100 %"), (1.0001, "101 %"), (1.5, "150 %")]
)
def test_a_limit_passed_by_a_hair_never_reads_100(frac, text):
    assert percent(frac) == text


def test_a_list_of_bars_reads_without_the_drawing():
    html = margin_bars(MarginBars("Load", [MarginBar("Pump <1>", 17, 10, "A", "stop", "70 % over", "/c/3/")]))
    text = " ".join("".join(tree(html).itertext()).split())
    assert "Pump <1>" in text
    assert "17.0 of 10.0 A" in text
    assert "170 %" in text
    assert "Stop" in text
    assert 'href="/c/3/"' in html


def test_no_bars_say_so():
    assert "nothing to compare yet" in margin_bars(MarginBars("Load"))


# --- ledger ------------------------------------------------------------------------------------------
def test_the_balance_holds_until_the_next_movement():
    steps = [LedgerStep(day(0), 100), LedgerStep(day(5), 60)]
    assert step_corners(steps, day(9)) == [(day(0), 100), (day(5), 100), (day(5), 60), (day(9), 60)]


def test_the_event_draws_what_it_will_take():
    chart = LedgerChart(
        "Lugs", "pieces", [LedgerStep(day(0), 50)], minimum=20, event_day=day(20), need=40, today=day(10)
    )
    html = ledger_chart(chart)
    wide = found(tree(html), "draw--wide")[0]
    ys = [float(y) for y in re.findall(r"[ML][\d.]+ ([\d.]+)", found(wide, "d-ahead")[0].get("d", ""))]
    limit = float(found(wide, "d-level--fix")[0].get("y1", ""))
    assert ys[0] == ys[1] < limit < ys[2] == ys[3]  # 50 left is above 20, 10 left is below
    assert "least stock 20" in html


@settings(max_examples=40)
@given(
    st.lists(st.builds(LedgerStep, DAY, ANY), max_size=10),
    st.none() | SOME,
    st.none() | DAY,
    st.none() | SOME,
    st.none() | DAY,
)
def test_any_ledger_is_well_formed(steps, minimum, event_day, need, today):
    chart = LedgerChart("L", "m", steps, minimum=minimum, event_day=event_day, need=need, today=today)
    root = tree(ledger_chart(chart))
    drawable = [step for step in steps if math.isfinite(step.balance)]
    assert len(found(root, "draw")) == (2 if drawable else 0)


# --- timeline ----------------------------------------------------------------------------------------
def at(hour: int, minute: int = 0) -> datetime:
    return datetime(2026, 3, 24, hour, minute, tzinfo=UTC)


def test_spans_are_as_long_as_they_last():
    chart = Timeline("R", [Lane("B1", [Span(at(8), at(9)), Span(at(9), at(12), "charging", "charge")])])
    wide = found(tree(timeline(chart)), "draw--wide")[0]
    use, charge = found(wide, "d-span--use")[0], found(wide, "d-span--charge")[0]
    assert float(charge.get("width", "")) == pytest.approx(3 * float(use.get("width", "")), abs=0.2)
    assert float(use.get("x", "")) + float(use.get("width", "")) == pytest.approx(
        float(charge.get("x", "")), abs=0.1
    )


def test_a_moment_and_now_stand_at_their_time():
    chart = Timeline("R", [Lane("B1", moments=[Moment(at(10), "out")])], start=at(8), end=at(12), now=at(10))
    wide = found(tree(timeline(chart)), "draw--wide")[0]
    now = float(found(wide, "d-upright--today")[0].get("x1", ""))
    moment = float(re.match(r"M([\d.]+)", found(wide, "d-moment")[0].get("d", "")).group(1))  # type: ignore[union-attr]
    assert now == pytest.approx(moment, abs=0.1)


def test_an_empty_plan_says_so():
    assert "nothing is planned or done yet" in timeline(Timeline("R", [Lane("B1")]))


@given(st.datetimes(datetime(2020, 1, 1), datetime(2030, 1, 1)), st.integers(1, 24 * 400), st.integers(3, 9))
def test_clock_ticks_are_few_and_ordered(start, hours, most):
    ticks = time_ticks(start, start + timedelta(hours=hours), most)
    assert len(ticks) <= most + 1
    places = [place for place, _ in ticks]
    assert places == sorted(places)


def test_the_table_holds_what_the_drawing_shows():
    chart = Timeline("R", [Lane("B1", [Span(at(8), at(9), "match 3")], [Moment(at(8, 30), "brown-out")])])
    text = "".join(tree(timeline(chart)).itertext())
    assert "2026-03-24 08:00" in text
    assert "use match 3" in text
    assert "brown-out" in text


def test_a_two_day_axis_names_the_day_at_midnight():
    start = datetime(2026, 3, 24, 8)
    assert [label for _, label in time_ticks(start, start + timedelta(hours=48), 5)] == [
        "12:00", "25 Mar", "12:00", "26 Mar",
    ]  # fmt: skip
