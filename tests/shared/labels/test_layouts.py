"""Sheets of labels: what fits, where each label lies, and that used places are left out."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from shared.labels.layouts import LAYOUTS

SHEETS = [layout for layout in LAYOUTS.values() if layout.page != "Roll"]
#: Sizes as shops print them on the packet, with the pitch from label to label (common practice, from memory).
PITCH_MM = {
    "a4-24": (70.0, 37.0),
    "a4-21": (66.0, 38.1),
    "a4-40": (52.5, 29.7),
    "a4-65": (40.6, 21.2),
    "a4-14": (101.6, 38.1),
    "a4-8": (101.6, 67.7),
    "letter-30": (69.9, 25.4),
    "letter-20": (106.4, 25.4),
    "letter-10": (106.4, 50.8),
}


@pytest.mark.parametrize("layout", SHEETS, ids=lambda layout: layout.key)
def test_the_labels_lie_on_the_page_and_not_on_each_other(layout):
    corners = [layout.corner_mm(place) for place in range(1, layout.count + 1)]
    for x, y in corners:
        assert -0.01 <= x <= layout.page_w_mm - layout.label_w_mm + 0.01
        assert -0.01 <= y <= layout.page_h_mm - layout.label_h_mm + 0.01
    for i, (x, y) in enumerate(corners):
        for other_x, other_y in corners[:i]:
            apart_x = abs(x - other_x) >= layout.label_w_mm - 1e-6
            assert apart_x or abs(y - other_y) >= layout.label_h_mm - 1e-6


@pytest.mark.parametrize("layout", SHEETS, ids=lambda layout: layout.key)
def test_the_pitch_is_that_of_the_packet(layout):
    first, second = layout.corner_mm(1), layout.corner_mm(2)
    below = layout.corner_mm(layout.columns + 1)
    assert second[0] - first[0] == pytest.approx(PITCH_MM[layout.key][0], abs=0.15)
    assert below[1] - first[1] == pytest.approx(PITCH_MM[layout.key][1], abs=0.15)


def test_names_say_number_and_size():
    assert LAYOUTS["a4-24"].name == "24 of 70 × 37 mm"
    assert LAYOUTS["roll-62x29"].name == "62 × 29 mm"


@given(st.sampled_from(SHEETS), st.integers(0, 200), st.data())
def test_every_label_gets_one_place_and_the_used_ones_stay_free(layout, number, data):
    start = data.draw(st.integers(1, layout.count))
    pages = list(layout.pages(range(number), start))
    assert [label for page in pages for _, label in page] == list(range(number))
    places = [place for page in pages for place, _ in page]
    assert all(1 <= place <= layout.count for place in places)
    assert places[:1] == [start][:number]
    assert len(pages) == -(-(start - 1 + number) // layout.count) if number else pages == []
    assert all(len(set(dict(page))) == len(page) for page in pages)


def test_a_roll_has_a_page_for_each_label():
    assert [len(page) for page in LAYOUTS["roll-50x25"].pages("abc")] == [1, 1, 1]
