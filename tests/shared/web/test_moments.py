"""Countdowns in words: what a page says before its script counts on."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest

from shared.web.icons import state_mark
from shared.web.moments import countdown_mark, span_words

NOW = datetime(2026, 3, 1, 14, 0, tzinfo=UTC)


@pytest.mark.parametrize(
    ("seconds", "words"),
    [
        (0, "0:00"),
        (65, "1:05"),
        (-65, "1:05"),
        (599, "9:59"),
        (600, "10 min"),
        (3599, "59 min"),
        (3600, "1 h 00 min"),
        (7500, "2 h 05 min"),
        (86_399, "23 h 59 min"),
        (86_400, "1 day"),
        (2 * 86_400 + 5, "2 days"),
    ],
)
def test_a_length_of_time_in_few_words(seconds, words):
    assert span_words(seconds) == words


def test_a_countdown_says_what_is_left_and_carries_the_moment():
    made = countdown_mark(NOW + timedelta(minutes=23), NOW, element_id="next")
    assert 'id="next"' in made
    assert 'datetime="2026-03-01T14:23:00+00:00"' in made
    assert made.endswith(">23 min</time>")


def test_a_moment_that_is_over_is_told_as_the_page_wants_it():
    assert countdown_mark(NOW - timedelta(minutes=12), NOW).endswith(">12 min ago</time>")
    assert countdown_mark(NOW - timedelta(seconds=20), NOW, past="{} late").endswith(">1 min late</time>")
    assert countdown_mark(NOW - timedelta(seconds=500), NOW).endswith(">8 min ago</time>")
    assert countdown_mark(NOW, NOW, past="ready now").endswith(">ready now</time>")


def test_a_state_has_shape_and_word_and_escapes_both_words():
    made = state_mark("ok", "<Ready>", "since 14:05")
    assert "<svg" in made
    assert "&lt;Ready&gt;" in made
    assert "since 14:05" in made
