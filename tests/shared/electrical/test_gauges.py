"""What a typed size means: forms people use, refusals with a remedy, and the round trip."""

from __future__ import annotations

from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from shared.electrical.gauges import (
    SizeError,
    awg_area_mm2,
    awg_diameter_mm,
    awg_label_for_area,
    cmil_from_mm2,
    format_size,
    mm2_from_cmil,
    parse_size,
    sae_area_mm2,
)
from shared.electrical.tables.sizes import AWG_LABELS, SAE_AREA_CMIL

labels = st.sampled_from(AWG_LABELS)


@pytest.mark.parametrize(
    "typed",
    [
        "12 AWG",
        "12awg",
        "AWG 12",
        "awg12",
        "#12",
        "# 12",
        "12 ga",
        "12 ga.",
        "12-gauge",
        "No. 12",
        "  12  AWG ",
        "#12 AWG",
    ],
)
def test_ways_to_type_twelve_gauge(typed):
    size = parse_size(typed)
    assert size.area_mm2 == awg_area_mm2("12")
    assert size.system == "awg"
    assert size.size_typed == typed.strip()


@pytest.mark.parametrize("typed", ["1/0", "1/0 AWG", "1 / 0 awg", "0 AWG", "AWG 1/0"])
def test_ways_to_type_one_nought(typed):
    assert parse_size(typed).area_mm2 == awg_area_mm2("1/0")


@pytest.mark.parametrize(
    "typed", ["2.5 mm2", "2,5 mm²", "2.5mm2", "2.50 MM2", "2.5 sq mm", "2.5 mm^2", "2.5 mm**2"]
)
def test_ways_to_type_an_area(typed):
    size = parse_size(typed)
    assert size.area_mm2 == 2.5
    assert size.system == "metric"


@pytest.mark.parametrize("typed", ["SAE 16", "16 SAE", "sae16", "SAE 16 ga"])
def test_automotive_wire_is_not_awg(typed):
    size = parse_size(typed)
    assert size.system == "sae"
    assert size.area_mm2 == sae_area_mm2("16") < awg_area_mm2("16")


@pytest.mark.parametrize(
    "typed",
    [
        "",
        "12",
        "2.5",
        "31 AWG",
        "5/0 AWG",
        "AWG",
        "-12 AWG",
        "12 mm",
        "0.001 mm2",
        "900 mm2",
        "SAE 13",
        "wire",
        "12 AWGG",
    ],
)
def test_what_is_no_size_is_refused_with_a_remedy(typed):
    with pytest.raises(SizeError) as refused:
        parse_size(typed)
    assert "12 AWG" in refused.value.remedy
    assert isinstance(refused.value, ValueError)
    assert str(refused.value).endswith(refused.value.remedy)


def test_a_number_without_unit_is_asked_back_not_guessed():
    with pytest.raises(SizeError, match="does not say in which unit"):
        parse_size("12")


@given(labels)
def test_awg_round_trip(label):
    assert parse_size(format_size(awg_area_mm2(label))).area_mm2 == awg_area_mm2(label)


@given(st.sampled_from(sorted(SAE_AREA_CMIL)))
def test_sae_round_trip(label):
    printed = format_size(sae_area_mm2(label), "sae")
    assert printed == f"SAE {label}"
    assert parse_size(printed).area_mm2 == sae_area_mm2(label)


@given(st.decimals(min_value="0.05", max_value="150", places=2))
def test_metric_round_trip(area):
    typed = f"{area} mm2"
    size = parse_size(typed)
    assert parse_size(format_size(size.area_mm2, "metric")).area_mm2 == pytest.approx(size.area_mm2, rel=1e-5)


@given(st.floats(min_value=1e-3, max_value=1e4))
def test_cmil_round_trip(area_mm2):
    assert float(mm2_from_cmil(cmil_from_mm2(area_mm2))) == pytest.approx(area_mm2, rel=1e-12)


@given(labels)
def test_an_area_names_its_own_gauge(label):
    assert awg_label_for_area(awg_area_mm2(label)) == label


@given(st.floats(min_value=0.051, max_value=200.0))
def test_a_named_gauge_never_promises_more_copper(area_mm2):
    assert awg_area_mm2(awg_label_for_area(area_mm2)) <= area_mm2 * 1.0011


def test_thinner_than_the_table_raises():
    with pytest.raises(SizeError):
        awg_label_for_area(0.01)
    with pytest.raises(SizeError):
        awg_diameter_mm("56")


def test_gauges_get_thinner_down_the_list():
    diameters = [awg_diameter_mm(label) for label in AWG_LABELS]
    assert all(thick > thin for thick, thin in pairwise(diameters))
    # ASTM B258: every step is the 39th root of 92.
    assert diameters[0] / diameters[1] == pytest.approx(92 ** (1 / 39), rel=1e-12)


@given(st.text(max_size=12))
def test_any_text_is_a_size_or_a_size_error(text):
    try:
        size = parse_size(text)
    except SizeError:
        return
    assert 0.05 <= size.area_mm2 <= 150.0
