"""Label codes against published examples of ISO/IEC 7064 MOD 37,36 and the errors it must notice."""

from __future__ import annotations

from itertools import product

import pytest
from hypothesis import given
from hypothesis import strategies as st
from stdnum.iso7064 import mod_37_36

from shared.labels.codes import ALPHABET, Kind, check_character, label_text, one_slip_apart, plain, read_label

TEXTS = st.text(ALPHABET, min_size=1, max_size=20)
CODES = st.from_regex(r"[A-Za-z0-9][A-Za-z0-9._/+-]{0,39}", fullmatch=True)


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        # Global Release Identifier, the standard's handbook: A1-2425G-ABC1234002-M.
        ("A12425GABC1234002", "M"),
        # International Standard Audiovisual Number (ISO 15706-1), as printed in its users' guide: root and episode
        # of ISAN 0000-0000-D07A-0090-Q. From memory.
        ("00000000D07A0090", "Q"),
    ],
)
def test_published_examples(text, expected):
    assert check_character(text) == expected


@given(TEXTS)
def test_agrees_with_a_general_library(text):
    """python-stdnum, a library of number formats, written by others."""
    assert check_character(text) == mod_37_36.calc_check_digit(text)
    assert mod_37_36.is_valid(text + check_character(text))


@given(TEXTS, st.data())
def test_every_wrong_character_is_noticed(text, data):
    """The standard's first promise, for every place (the check character's own too) and every other character."""
    whole = text + check_character(text)
    place = data.draw(st.integers(0, len(whole) - 1))
    for wrong in ALPHABET.replace(whole[place], ""):
        changed = whole[:place] + wrong + whole[place + 1 :]
        assert check_character(changed[:-1]) != changed[-1]


def test_of_all_swaps_of_neighbours_it_misses_one_in_630():
    """The standard promises "all or nearly all". Every pair of characters behind every state of the calculation."""
    missed = []
    pairs = 0
    # A single leading character brings the calculation into each of its 36 states.
    for lead, (one, other) in product(ALPHABET, product(ALPHABET, repeat=2)):
        if one == other:
            continue
        pairs += 1
        if check_character(lead + one + other) == check_character(lead + other + one):
            missed.append((one, other))
    assert pairs == 36 * 36 * 35
    assert len(missed) == pairs / 630
    assert all((ALPHABET.index(a) - ALPHABET.index(b)) % 36 in (1, 35) for a, b in missed)


@given(CODES, st.sampled_from(Kind))
def test_a_label_is_read_back(code, kind):
    typed = read_label(label_text(kind, code))
    assert (typed.kind, typed.code) == (kind, code.upper())
    assert typed.check == check_character(kind + code)
    assert read_label(label_text(kind, code).lower()) == typed


@given(CODES)
def test_case_and_hyphens_change_no_check_character(code):
    assert check_character(code) == check_character(code.lower()) == check_character(plain(code))


@given(st.text(max_size=30))
def test_any_text_can_be_read(text):
    assert plain(read_label(text).code) in plain(text)


@pytest.mark.parametrize(
    ("one", "other", "near"),
    [
        ("GP-07", "GP-01", True),
        ("gp-07", "GP07", False),  # the same
        ("GP-12", "GP-21", True),
        ("GP-12", "GP-2", False),
        ("GP-12", "PG-21", False),
    ],
)
def test_one_slip(one, other, near):
    assert one_slip_apart(one, other) is near
