"""Conductor geometry and resistance against published tables."""

from __future__ import annotations

import numpy as np
import pytest

from shared.electrical.conductors import max_resistance_ohm_per_m, resistance_20c_ohm_per_m, resistance_at_c
from shared.electrical.gauges import awg_area_mm2, awg_diameter_mm, cmil_from_mm2, sae_area_mm2

KFT_PER_M = 1 / 304.8

# Ohm per 1000 ft, solid bare copper, 20 C. 4/0 to 1: reference note 'AWG Copper Wire: Resistance'; 12 to 24:
# page 'Wire Resistance Table'. The digits are those of NBS Handbook 100 (1966), Copper Wire Tables (memory).
SOLID_20C = {
    "4/0": 0.04901,
    "3/0": 0.0618,
    "2/0": 0.07793,
    "1/0": 0.09827,
    "1": 0.1239,
    "12": 1.588,
    "14": 2.525,
    "16": 4.016,
    "18": 6.385,
    "20": 10.15,
    "22": 16.14,
    "24": 25.67,
}

# Diameter in, circular mils. 'Lessons in Electric Circuits', vol. V, ch. 'Conductor and insulator tables'.
GEOMETRY = {
    "4/0": (0.46, 211600),
    "2/0": (0.3648, 133100),
    "1/0": (0.3249, 105500),
    "2": (0.2576, 66370),
    "4": (0.2043, 41740),
    "6": (0.162, 26250),
    "8": (0.1285, 16510),
    "10": (0.1019, 10380),
    "12": (0.08081, 6530),
    "14": (0.06408, 4107),
    "16": (0.05082, 2583),
    "18": (0.0403, 1624),
    "20": (0.03196, 1022),
    "22": (0.02535, 642.5),
    "24": (0.0201, 404.0),
}

# Ohm per 1000 ft at 75 C, uncoated copper, NEC (NFPA 70) Chapter 9 Table 8. The annotation it was read from
# heads the whole column 'stranded'; the rows from 14 to 8 AWG are the solid figures.
NEC8_SOLID = {"14": 3.07, "12": 1.93, "10": 1.21, "8": 0.764}
NEC8_STRANDED = {
    "6": 0.491,
    "4": 0.308,
    "3": 0.245,
    "2": 0.194,
    "1": 0.154,
    "1/0": 0.122,
    "2/0": 0.0967,
    "3/0": 0.0766,
    "4/0": 0.0608,
}
# The same table's stranded column for small sizes: from memory.
NEC8_STRANDED_MEMORY = {"18": 7.95, "16": 4.99, "14": 3.14, "12": 1.98, "10": 1.24, "8": 0.778}


def ohm_per_kft(label: str, temp_c: float, *, stranded: bool) -> float:
    at_20c = resistance_20c_ohm_per_m(awg_area_mm2(label), stranded=stranded)
    return float(resistance_at_c(at_20c, temp_c)) / KFT_PER_M


@pytest.mark.parametrize(("label", "published"), SOLID_20C.items())
def test_solid_resistance_at_20c(label, published):
    assert ohm_per_kft(label, 20.0, stranded=False) == pytest.approx(published, rel=5e-4)


@pytest.mark.parametrize(("label", "published"), GEOMETRY.items())
def test_geometry(label, published):
    diameter_in, area_cmil = published
    # ASTM B258 tabulates diameters to at most four significant figures.
    assert awg_diameter_mm(label) / 25.4 == pytest.approx(diameter_in, rel=5e-4)
    assert float(cmil_from_mm2(awg_area_mm2(label))) == pytest.approx(area_cmil, rel=5e-4)


@pytest.mark.parametrize(("label", "published"), NEC8_SOLID.items())
def test_nec_table_8_solid(label, published):
    assert ohm_per_kft(label, 75.0, stranded=False) == pytest.approx(published, rel=5e-3)


@pytest.mark.parametrize(("label", "published"), NEC8_STRANDED.items())
def test_nec_table_8_stranded(label, published):
    assert ohm_per_kft(label, 75.0, stranded=True) == pytest.approx(published, rel=5e-3)


@pytest.mark.parametrize(("label", "remembered"), NEC8_STRANDED_MEMORY.items())
def test_nec_table_8_stranded_small_sizes_from_memory(label, remembered):
    assert ohm_per_kft(label, 75.0, stranded=True) == pytest.approx(remembered, rel=6e-3)


def test_nec_temperature_form_agrees_at_the_ends():
    """NEC Chapter 9 Table 8 note: R2 = R1 [1 + 0.00323 (T2 - 75)] for copper."""
    for temp_c in (20.0, 60.0, 105.0):
        ours = float(resistance_at_c(1.0, temp_c) / resistance_at_c(1.0, 75.0))
        assert ours == pytest.approx(1 + 0.00323 * (temp_c - 75), rel=1e-3)


@pytest.mark.parametrize(("temp_c", "factor"), [(75.0, 0.820), (60.0, 0.862)])
def test_iec_60228_correction_is_within_half_a_percent(temp_c, factor):
    """IEC 60228 correction factors to 20 C, as printed on a page of the standard's tables."""
    assert 1 / float(resistance_at_c(1.0, temp_c)) == pytest.approx(factor, rel=5e-3)


@pytest.mark.parametrize(
    ("area_mm2", "class_2", "class_5", "tinned"),
    [
        # IEC 60228:2004 Tables 2 and 3; three pages agree.
        (0.5, 36.0, 39.0, 40.1),
        (1.5, 12.1, 13.3, 13.7),
        (2.5, 7.41, 7.98, 8.21),
        (6.0, 3.08, 3.3, 3.39),
        (16.0, 1.15, 1.21, 1.24),
        (95.0, 0.193, 0.206, 0.21),
    ],
)
def test_iec_60228_maximum_resistance(area_mm2, class_2, class_5, tinned):
    for table, published in (("class2", class_2), ("class5", class_5), ("class5_tinned", tinned)):
        ohm_per_m = float(max_resistance_ohm_per_m(area_mm2, f"iec60228_{table}"))
        assert ohm_per_m * 1000 == pytest.approx(published, rel=1e-12)


def test_iec_60228_allows_more_than_the_copper_alone_has():
    """A maximum must lie above solid IACS copper of the nominal area, by 0 to 16 %; tinned above plain."""
    areas = np.array([0.5, 0.75, 1.0, 1.5, 2.5, 4.0, 6.0, 10.0, 16.0, 25.0, 35.0, 50.0, 70.0, 95.0])
    copper = resistance_20c_ohm_per_m(areas, stranded=False)
    plain = max_resistance_ohm_per_m(areas, "iec60228_class5")
    assert np.all(plain > copper)
    assert np.all(plain < copper * 1.16)
    assert np.all(max_resistance_ohm_per_m(areas, "iec60228_class5_tinned") > plain)
    assert np.all(np.diff(plain) < 0)


def test_iso_6722_maximum_from_memory_lies_near_the_copper():
    """ISO 6722-1 figures are from memory: each must lie 0 to 12 % above solid IACS copper."""
    areas = np.array([0.35, 0.5, 0.75, 1.0, 1.5, 2.5, 4.0, 6.0, 10.0, 16.0])
    ratio = max_resistance_ohm_per_m(areas, "iso6722") / resistance_20c_ohm_per_m(areas, stranded=False)
    assert np.all((ratio > 1.0) & (ratio < 1.12))


@pytest.mark.parametrize(
    ("label", "cmil", "ratio"),
    # Marine wire catalogue 2023, appendix p. 70: SAE area and its ratio to the catalogue's AWG area.
    [
        ("18", 1537, 0.961),
        ("16", 2336, 0.898),
        ("12", 5833, 0.897),
        ("8", 14810, 0.882),
        ("4/0", 205500, 0.971),
    ],
)
def test_sae_is_thinner_than_awg(label, cmil, ratio):
    assert float(cmil_from_mm2(sae_area_mm2(label))) == pytest.approx(cmil, rel=1e-12)
    # The catalogue rounds its AWG areas, hence 2 %.
    assert sae_area_mm2(label) / awg_area_mm2(label) == pytest.approx(ratio, rel=0.02)


def test_three_six_and_ten_steps():
    """ASTM B258: three sizes double the area, six double the diameter, ten make ten times the area."""
    assert awg_area_mm2("10") / awg_area_mm2("13") == pytest.approx(2.0, rel=0.02)
    assert awg_diameter_mm("10") / awg_diameter_mm("16") == pytest.approx(2.0, rel=0.02)
    assert awg_area_mm2("10") / awg_area_mm2("20") == pytest.approx(10.0, rel=0.04)
