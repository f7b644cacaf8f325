"""Scales, ticks and labels: the drawing board of the charts."""

from __future__ import annotations

import math
from datetime import date, timedelta
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from shared.web.charts.svg import (
    Scale,
    date_ticks,
    element,
    nice_step,
    number,
    path_through,
    tick_text,
    value_range,
    value_ticks,
)

FINITE = st.floats(-1e6, 1e6, allow_nan=False)
DAYS = st.dates(date(2000, 1, 1), date(2060, 1, 1))


@pytest.mark.parametrize("bad", [math.nan, math.inf, -math.inf])
def test_refuses_to_draw_nowhere(bad):
    with pytest.raises(ValueError, match="cannot draw"):
        number(bad)


@pytest.mark.parametrize(
    ("value", "text"), [(1.0, "1"), (1.25, "1.2"), (-0.01, "0"), (0.0, "0"), (12.36, "12.4")]
)
def test_writes_short_coordinates(value, text):
    assert number(value) == text


def test_elements_escape_what_they_are_given():
    html = element("text", "a < b & c", class_='"x"', stroke_width=1.5)
    assert html == '<text class="&quot;x&quot;" stroke-width="1.5">a &lt; b &amp; c</text>'


def test_a_path_goes_through_its_points():
    assert path_through([(0.0, 1.0), (2.5, 3.0)]) == "M0 1L2.5 3"


@given(FINITE, FINITE, FINITE)
def test_a_scale_maps_its_ends_and_keeps_the_order(low, high, between):
    scale = Scale(low, high, 0.0, 100.0)
    if low == high:
        assert scale(between) == 50.0
        return
    assert scale(low) == pytest.approx(0.0)
    assert scale(high) == pytest.approx(100.0)
    assert 0.0 <= scale.clamp(between) <= 100.0


@given(FINITE, st.floats(1e-3, 1e6), st.integers(2, 10))
def test_value_ticks_are_few_even_and_inside(low, span, most):
    ticks = value_ticks(low, low + span, most)
    step = nice_step(span, most)
    assert len(ticks) <= most + 1
    assert all(low - 1e-6 * step <= tick <= low + span + 1e-6 * step for tick in ticks)
    assert all(
        b - a == pytest.approx(step, rel=1e-6, abs=1e-9 * (abs(low) + span)) for a, b in pairwise(ticks)
    )


@pytest.mark.parametrize(
    ("span", "most", "step"), [(10, 5, 2), (10, 4, 2.5), (7, 6, 2), (0.9, 9, 0.1), (100, 1, 100), (0, 5, 1)]
)
def test_steps_are_round(span, most, step):
    assert nice_step(span, most) == pytest.approx(step)


@pytest.mark.parametrize(
    ("value", "step", "text"),
    [(2, 1, "2"), (2.5, 2.5, "2.5"), (0.25, 0.25, "0.25"), (-5, 5, "\u22125"), (0.1, 0.1, "0.1")],
)
def test_tick_labels_have_the_decimals_of_their_step(value, step, text):
    assert tick_text(value, step) == text


@given(st.lists(FINITE, min_size=1, max_size=20), st.booleans())
def test_the_range_holds_every_value(values, from_zero):
    low, high = value_range(values, from_zero=from_zero)
    assert low < high
    assert low <= min(values)
    assert max(values) <= high
    if from_zero:
        assert low <= 0 <= high


@given(DAYS, st.integers(0, 9000), st.integers(2, 10))
def test_date_ticks_are_few_ordered_and_inside(first, span, most):
    last = first + timedelta(days=span)
    ticks = date_ticks(first, last, most)
    assert 1 <= len(ticks) <= most + 1
    days = [day for day, _ in ticks]
    assert days == sorted(set(days))
    assert all(first <= day <= last for day in days)
    assert all(label for _, label in ticks)


@pytest.mark.parametrize(
    ("first", "last", "labels"),
    [
        (date(2026, 3, 1), date(2026, 3, 5), ["1 Mar", "2 Mar", "3 Mar", "4 Mar", "5 Mar"]),
        (date(2025, 11, 10), date(2026, 3, 10), ["Dec", "Jan 2026", "Feb", "Mar"]),
        (date(2020, 5, 1), date(2026, 5, 1), ["2021", "2022", "2023", "2024", "2025", "2026"]),
    ],
)
def test_dates_are_named_as_people_name_them(first, last, labels):
    assert [label for _, label in date_ticks(first, last, 6)] == labels
