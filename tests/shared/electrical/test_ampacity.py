"""Laws of ampacity: monotone in area, class, ambient and bundle; cautious at the edges; arrays as scalars."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from shared.electrical.ampacity import (
    ambient_factor,
    ampacity_table_names,
    bundle_factor,
    bundle_table_names,
    corrected_ampacity_a,
    loaded_bundle_factor,
    table_ampacity_a,
)
from shared.electrical.gauges import awg_area_mm2, sae_area_mm2
from shared.electrical.tables.ampacity import AMPACITY_TABLES

tables = st.sampled_from(ampacity_table_names())
# As many draws among thin wires as among thick ones, and the gauges themselves.
areas = st.one_of(
    st.floats(min_value=np.log(0.206), max_value=np.log(107.0)).map(np.exp).map(float),
    st.sampled_from([awg_area_mm2(label) for label in ("24", "20", "18", "17", "16", "14", "12", "4/0")]),
)
classes = st.sampled_from([60.0, 75.0, 80.0, 90.0, 105.0, 110.0, 125.0, 150.0, 200.0])
policies = st.sampled_from(["log_log", "next_lower"])


@given(tables, classes, areas, areas, policies, st.floats(-20.0, 210.0), st.integers(1, 40))
@example("33cfr183", 105.0, awg_area_mm2("20"), awg_area_mm2("18"), "log_log", 80.0, 25)
def test_a_thicker_wire_never_carries_less(table, class_c, one, other, policy, ambient_c, count):
    thin, thick = sorted((one, other))
    low, high = (
        corrected_ampacity_a(area, class_c, ambient_c, count, table=table, interpolation=policy)
        for area in (thin, thick)
    )
    assert not low > high + 1e-9


@given(tables, classes, classes, areas, policies)
def test_a_better_insulation_never_carries_less(table, one, other, area, policy):
    worse, better = sorted((one, other))
    low, high = (
        corrected_ampacity_a(area, klass, table=table, interpolation=policy) for klass in (worse, better)
    )
    assert not low > high


@given(tables, classes, areas, st.floats(-20.0, 210.0), st.floats(-20.0, 210.0))
def test_a_hotter_room_never_helps(table, class_c, area, one, other):
    cool, hot = sorted((one, other))
    assert not corrected_ampacity_a(area, class_c, hot, table=table) > corrected_ampacity_a(
        area, class_c, cool, table=table
    )


@given(tables, st.sampled_from(bundle_table_names()), areas, st.integers(1, 60), st.integers(1, 60))
def test_a_larger_bundle_never_helps(table, bundle_table, area, one, other):
    few, many = sorted((one, other))
    more, fewer = (
        corrected_ampacity_a(area, 105.0, 30.0, count, table=table, bundle_table=bundle_table)
        for count in (many, few)
    )
    assert not more > fewer


@given(st.floats(min_value=0.824, max_value=107.0))
def test_next_lower_is_the_cautious_policy(area):
    cautious = table_ampacity_a(area, 105.0, interpolation="next_lower")
    between = table_ampacity_a(area, 105.0, interpolation="log_log")
    assert cautious <= between + 1e-9


@given(st.floats(min_value=0.824, max_value=107.0))
def test_interpolation_stays_between_the_neighbours(area):
    listed = sorted((awg_area_mm2(label), row[4]) for label, row in AMPACITY_TABLES["33cfr183"].amps.items())
    below = max((amps for size, amps in listed if size <= area * 1.001), default=0.0)
    above = min((amps for size, amps in listed if size >= area * 0.999), default=np.inf)
    assert below - 1e-9 <= float(table_ampacity_a(area, 105.0)) <= above + 1e-9


@pytest.mark.parametrize("table", list(AMPACITY_TABLES))
def test_every_listed_cell_comes_back_exactly(table):
    data = AMPACITY_TABLES[table]
    for label, row in data.amps.items():
        for class_c, published in zip(data.classes_c, row, strict=True):
            ours = float(table_ampacity_a(awg_area_mm2(label), class_c, table))
            if np.isnan(published):
                lower = [amps for amps in row[: data.classes_c.index(class_c)] if not np.isnan(amps)]
                assert ours == max(lower) if lower else np.isnan(ours)
            else:
                assert ours == published


def test_classes_between_columns_read_the_lower_one():
    twelve = awg_area_mm2("12")
    assert float(table_ampacity_a(twelve, 104.9)) == float(table_ampacity_a(twelve, 90.0)) == 40.0
    assert float(table_ampacity_a(twelve, 250.0)) == 55.0
    assert np.isnan(table_ampacity_a(twelve, 59.0))
    # And the ambient factor then belongs to that column too: 104 C wire at 50 C counts as 90 C wire.
    assert float(corrected_ampacity_a(twelve, 104.0, 50.0)) == float(corrected_ampacity_a(twelve, 90.0, 50.0))


def test_above_four_nought_there_is_no_figure():
    assert np.isnan(table_ampacity_a(120.0, 105.0))
    assert np.isnan(corrected_ampacity_a(120.0, 105.0))


def test_a_rounded_area_still_is_its_gauge():
    assert float(table_ampacity_a(3.31, 105.0)) == 45.0
    assert float(table_ampacity_a(3.3065, 105.0)) == 45.0
    assert float(table_ampacity_a(107.2, 105.0)) == 445.0
    assert float(table_ampacity_a(0.823, 105.0)) == 20.0


def test_automotive_wire_carries_less_than_awg_of_its_number():
    assert table_ampacity_a(sae_area_mm2("12"), 105.0) < table_ampacity_a(awg_area_mm2("12"), 105.0)


def test_small_wires_fall_back_to_a_bundle_table():
    """22 AWG: 3 A in AC 43.13-1B, 4.5 A in the space table (memory); no bundle factor or cool credit."""
    twenty_two = awg_area_mm2("22")
    assert float(corrected_ampacity_a(twenty_two, 105.0)) == 3.0
    assert float(corrected_ampacity_a(twenty_two, 105.0, 10.0, 30)) == 3.0
    assert float(corrected_ampacity_a(twenty_two, 200.0, small_wire_table="nasa_single")) == 4.5
    # Lower classes than the small table has are scaled down by the square law, at its own 70 C base.
    assert float(corrected_ampacity_a(twenty_two, 60.0, 60.0)) == 0.0
    assert float(corrected_ampacity_a(twenty_two, 60.0, 50.0)) == pytest.approx(3 * np.sqrt(10 / 35))


def test_thinner_than_the_small_table_cannot_be_judged():
    assert np.isnan(corrected_ampacity_a(awg_area_mm2("26"), 105.0))


def test_a_bundle_table_takes_no_second_derating():
    """AC 43.13-1B figures are for 33 wires already: a bundle count must not cut them again."""
    twelve = awg_area_mm2("12")
    assert float(corrected_ampacity_a(twelve, 105.0, 30.0, 12, table="ac4313")) == 13.0
    assert float(corrected_ampacity_a(twelve, 105.0, 87.5, 1, table="ac4313")) == pytest.approx(
        13 * np.sqrt(0.5)
    )


def test_ambient_limits():
    assert float(ambient_factor(30.0, 105.0)) == 1.0
    assert float(ambient_factor(105.0, 105.0)) == 0.0
    assert float(ambient_factor(140.0, 105.0)) == 0.0
    assert np.isnan(ambient_factor(20.0, 30.0))
    assert float(corrected_ampacity_a(awg_area_mm2("12"), 105.0, 110.0)) == 0.0


@pytest.mark.parametrize("missing", ["area", "class", "ambient", "bundle"])
def test_a_missing_figure_is_unknown_not_a_pass(missing):
    known = {"area": 3.309, "class": 105.0, "ambient": 30.0, "bundle": 1.0} | {missing: np.nan}
    assert np.isnan(corrected_ampacity_a(known["area"], known["class"], known["ambient"], known["bundle"]))
    thin = known | ({} if missing == "area" else {"area": 0.3255})
    assert np.isnan(corrected_ampacity_a(thin["area"], thin["class"], thin["ambient"], thin["bundle"]))


def test_bundle_edges():
    assert np.isnan(bundle_factor(np.array([0.0, -3.0, np.nan]))).all()
    assert np.isnan(loaded_bundle_factor(20.0, 0.5))
    assert np.isnan(loaded_bundle_factor(5.0, 1.2))
    assert np.isnan(loaded_bundle_factor(np.nan, 0.5))


@pytest.mark.parametrize(
    "call",
    [
        lambda: table_ampacity_a(3.3, 105.0, "nowhere"),
        lambda: table_ampacity_a(3.3, 105.0, "33cfr183", "spline"),  # type: ignore[arg-type]
        lambda: bundle_factor(2, "nowhere"),
        lambda: corrected_ampacity_a(3.3, 105.0, bundle_table="nowhere"),
        lambda: corrected_ampacity_a(0.3, 105.0, small_wire_table="nowhere"),
    ],
)
def test_unknown_names_are_refused_with_the_known_ones(call):
    with pytest.raises(ValueError, match=r"there are [a-z0-9]"):
        call()


@pytest.mark.parametrize("table", ampacity_table_names())
def test_arrays_equal_one_by_one(table):
    rng = np.random.default_rng(11)
    area, klass = rng.uniform(0.15, 120.0, 200), rng.choice([50.0, 60.0, 85.0, 105.0, 130.0, 200.0], 200)
    ambient, count = rng.uniform(10.0, 120.0, 200), rng.integers(0, 40, 200).astype(float)
    together = corrected_ampacity_a(area, klass, ambient, count, table=table)
    alone = [
        float(corrected_ampacity_a(float(a), float(k), float(t), float(n), table=table))
        for a, k, t, n in zip(area, klass, ambient, count, strict=True)
    ]
    np.testing.assert_array_equal(together, np.array(alone))
