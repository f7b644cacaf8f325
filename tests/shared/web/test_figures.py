"""Figures line up on their decimal point whatever was stored."""

from __future__ import annotations

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from shared.web.figures import FIGURE_SPACE, MINUS, NO_VALUE, format_figure, parse_decimals

S = FIGURE_SPACE


@pytest.mark.parametrize(
    ("value", "decimals", "text"),
    [
        (12.345, 2, "12.35"),
        (Decimal("12.25"), 1, "12.3"),
        (7, 0, "7"),
        (-0.5, 1, f"{MINUS}0.5"),
        (-0.001, 2, "0.00"),
        (12000, 0, "12\u202f000"),
        (4200, 0, "4200"),
        (3.5, "0-2", f"3.5{S}"),
        (3, "0-2", f"3{S}{S}{S}"),
        (3, "1-2", f"3.0{S}"),
        (None, 2, f"{NO_VALUE}{S}{S}{S}"),
        ("", 0, NO_VALUE),
        (float("nan"), 1, f"{NO_VALUE}{S}{S}"),
        (float("inf"), 1, f"{NO_VALUE}{S}{S}"),
        ("not a number", 0, NO_VALUE),
        ("12.5", 1, "12.5"),
        (True, 0, NO_VALUE),
    ],
)
def test_prints(value, decimals, text):
    assert format_figure(value, decimals) == text


@given(
    st.lists(
        st.floats(-1e9, 1e9, allow_nan=False) | st.none() | st.just(float("nan")), min_size=2, max_size=8
    ),
    st.integers(0, 2),
    st.integers(0, 3),
)
def test_every_figure_of_a_column_ends_at_the_same_distance_from_its_point(values, fewest, more):
    decimals = f"{fewest}-{fewest + more}"
    tails = set()
    for value in values:
        text = format_figure(value, decimals)
        whole, point, part = text.partition(".")
        tails.add(len(part) + 1 if point else len(text) - len(whole.rstrip(S)))
    assert len(tails) == 1


@given(st.floats(-1e6, 1e6), st.integers(0, 4))
def test_the_printed_figure_is_the_value_rounded(value, decimals):
    text = format_figure(value, decimals).replace(MINUS, "-").replace("\u202f", "")
    assert abs(float(text) - value) <= 0.5 * 10**-decimals + 1e-9


@pytest.mark.parametrize("bad", ["2-1", "-1", "x", "0-40"])
def test_refuses_decimals_it_cannot_print(bad):
    with pytest.raises(ValueError, match=r".+"):
        parse_decimals(bad)
