"""Tables as data: every row has its source and status, and no cell stands out from its neighbours."""

from __future__ import annotations

import ast
from dataclasses import FrozenInstanceError
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest

import shared.electrical.tables as tables_package
from shared.electrical.gauges import awg_area_mm2
from shared.electrical.sources import COMMON_PRACTICE, MEMORY, SEEN, Source
from shared.electrical.tables.ampacity import AMPACITY_TABLES
from shared.electrical.tables.bundles import BUNDLE_TABLES
from shared.electrical.tables.copper import MAX_OHM_PER_KM, MAX_OHM_PER_KM_SOURCE
from shared.electrical.tables.protection import CURVES
from shared.electrical.tables.sizes import AWG_LABELS, SAE_AREA_CMIL
from shared.electrical.tables.terminations import PULL_TABLES

TABLE_FILES = sorted(Path(str(tables_package.__file__)).parent.glob("[a-z]*.py"))


@pytest.mark.parametrize("path", TABLE_FILES, ids=lambda path: path.stem)
def test_every_table_file_names_sources(path):
    calls = [node for node in ast.walk(ast.parse(path.read_text())) if isinstance(node, ast.Call)]
    assert any(getattr(call.func, "id", "") == "Source" for call in calls)


def test_a_source_without_status_or_title_is_refused():
    with pytest.raises(ValueError, match="status"):
        Source("a book", "p. 1", "certain")  # type: ignore[arg-type]
    with pytest.raises(ValueError, match="title"):
        Source("", "p. 1", SEEN)


def test_a_source_prints_what_was_not_read():
    assert str(Source("ASTM B258", "formula", SEEN)) == "ASTM B258, formula"
    assert str(Source("a sheet", "", MEMORY)) == "a sheet (memory)"
    assert str(Source("workshop", "habit", COMMON_PRACTICE)).endswith("(common practice)")


def test_sources_are_frozen():
    with pytest.raises(FrozenInstanceError):
        Source("a", "b", SEEN).title = "c"  # type: ignore[misc]


@pytest.mark.parametrize("table", AMPACITY_TABLES.values(), ids=lambda table: table.name)
def test_ampacity_cells_keep_their_order(table):
    """A slip of a digit shows as a thicker wire or a better insulation that carries less."""
    labels = sorted(table.amps, key=awg_area_mm2)
    grid = np.array([table.amps[label] for label in labels], dtype=float)
    assert grid.shape[1] == len(table.classes_c)
    assert list(table.classes_c) == sorted(table.classes_c)
    assert not (np.diff(grid, axis=0) <= 0).any() or table.name == "33cfr183"
    assert not (np.diff(grid, axis=0) < 0).any()
    assert not (np.diff(grid, axis=1) < 0).any()
    assert table.source.title
    assert table.conditions


# Where a printed table is steeper than a real wire: the aircraft table goes from a bundle of 33 wires to
# one of 9 between 10 and 8 AWG, the instrument manual and the web column are steep among thin wires.
STEEPEST = {"ac4313": 1.8, "instrument": 1.35, "chassis": 1.5}


@pytest.mark.parametrize("table", AMPACITY_TABLES.values(), ids=lambda table: table.name)
def test_ampacity_grows_like_a_power_of_the_area(table):
    """Between neighbours the exponent of a real wire lies near 0.6; a misplaced digit would break far out."""
    labels = sorted(table.amps, key=awg_area_mm2)
    log_areas = np.log([awg_area_mm2(label) for label in labels])
    for column in np.array([table.amps[label] for label in labels], dtype=float).T:
        exponents = np.diff(np.log(column)) / np.diff(log_areas)
        exponents = exponents[~np.isnan(exponents)]
        assert np.all(exponents > 0.1)
        assert np.all(exponents < STEEPEST.get(table.name, 1.2))


@pytest.mark.parametrize("table", BUNDLE_TABLES.values(), ids=lambda table: table.name)
def test_bundle_factors_fall_from_one(table):
    assert table.from_count[0] == 1
    assert table.factors[0] == 1.0
    assert len(table.from_count) == len(table.factors)
    assert all(one < other for one, other in pairwise(table.from_count))
    assert all(one > other > 0 for one, other in pairwise(table.factors))


@pytest.mark.parametrize("name", sorted(MAX_OHM_PER_KM))
def test_resistance_limits_fall_with_area(name):
    rows = sorted(MAX_OHM_PER_KM[name].items())
    assert all(thin > thick for (_, thin), (_, thick) in pairwise(rows))
    # Area times resistance is nearly the resistivity in every row: 17 to 21 ohm mm2 / km.
    assert all(17.0 < area * ohm < 21.0 for area, ohm in rows)
    assert MAX_OHM_PER_KM_SOURCE[name].status in (SEEN, MEMORY)


def test_sae_areas_lie_between_neighbouring_awg_sizes():
    for label, cmil in SAE_AREA_CMIL.items():
        own = awg_area_mm2(label)
        thinner = awg_area_mm2(AWG_LABELS[AWG_LABELS.index(label) + 2])
        assert thinner < cmil * np.pi / 4 * 0.0254**2 < own


@pytest.mark.parametrize("curve", CURVES.values(), ids=lambda curve: curve.name)
def test_opening_times_fall_with_current(curve):
    for slow, fast in pairwise(curve.points):
        assert fast.min_s <= slow.min_s
        assert fast.max_s <= slow.max_s
    # None of these families was read in a data sheet: they must say so.
    assert curve.source.status == MEMORY


@pytest.mark.parametrize("table", PULL_TABLES.values(), ids=lambda table: table.name)
def test_pull_forces_rise_with_area(table):
    rows = sorted(
        [(awg_area_mm2(label), force) for label, force in table.awg_lbf.items()] + list(table.mm2_n.items())
    )
    assert all(weak < strong for (_, weak), (_, strong) in pairwise(rows))
    assert set(table.from_memory) <= set(table.awg_lbf)
