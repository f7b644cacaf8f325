"""The key of a study: changed by everything that enters the simulation, and by nothing else."""

from __future__ import annotations

import os
import subprocess
import sys
from datetime import timedelta
from enum import IntEnum
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from builds.match_study import content, inputs
from builds.match_study.content import content_key
from builds.models import Circuit, DutyPhase
from inventory.models import Reading
from tests.builds.match_shop import MEASURED, MatchShop, make_match_shop
from tests.working import REPOSITORY

pytestmark = pytest.mark.django_db


@pytest.fixture
def shop() -> MatchShop:
    return make_match_shop()


#: What enters every study of the build.
ENTERS: list[tuple[str, dict[str, Any]]] = [
    ("MAIN", {"length_m": 0.7}),
    ("MAIN", {"joints_mohm": 3.0}),
    ("MAIN", {"parallel": 2}),
    ("MAIN", {"ambient_c": 55.0}),
    ("MAIN", {"bundle_count": 8}),
    ("MAIN", {"code": "TRUNK"}),
    ("MAIN", {"name": "Battery to board"}),
    ("W25", {"area_mm2": 16.0}),
    ("W25", {"resistance_mohm_per_m": 0.9}),
    ("W25", {"insulation_class_c": 75.0}),
    ("W25", {"strands": 1}),
    ("MB120", {"rating_a": 100.0}),
    ("MB120", {"resistance_mohm": 0.7}),
    ("MB120", {"heat_s": 30.0}),
    ("point", {"multiple": 1.25}),
    ("thrice", {"opens_min_s": 0.9}),
    ("F40", {"form": "magnetic"}),
    ("MOTOR", {"stall_a": 110.0}),
    ("MOTOR", {"free_a": 3.0}),
    ("MOTOR", {"spin_up_s": 0.4}),
    ("MOTOR", {"nominal_v": 11.0}),
    ("MOTOR", {"draw": "resistance"}),
    ("DRIVE-1", {"limit_a": 60.0}),
    ("DRIVE-1", {"mechanism": "left"}),
    ("DRIVE-1", {"profile_id": None}),
    ("PUMP", {"continuous_a": 11.0}),
    ("PUMP", {"peak_a": 21.0}),
    ("PUMP", {"duty_frac": 0.3}),
    ("PUMP", {"cycle_s": 5.0}),
    ("COMPRESSOR", {"draw": "power"}),
    ("CONTROLLER", {"nominal_a": 1.6}),
    ("CONTROLLER", {"minimum_v": 7.0}),
    ("LINK", {"role": "sensor"}),
    ("push", {"lasts_s": 0.6}),
    ("push", {"draw_frac": 0.9}),
    ("push", {"torque_frac": 0.6}),
    ("push", {"place": 9}),
    ("build", {"ambient_c": 45.0}),
    ("season", {"match_s": 120.0}),
]
#: What is written beside it and changes no answer.
BESIDE: list[tuple[str, dict[str, Any]]] = [
    ("MAIN", {"notes": "crimped twice", "critical": True, "wired": False}),
    ("PUMP", {"stud_load_mm": 5.0}),
    ("build", {"notes": "for the second meet", "label": "rev B"}),
    ("robot", {"name": "Grey Heron"}),
    ("profile", {"name": "Pushing", "notes": "as in practice"}),
    ("push", {"name": "shove"}),
    ("W3", {"colour": "red", "minimum_stock": 4}),
    ("F40", {"interrupt_a": 900.0, "voltage_v": 32.0}),
    ("MOTOR", {"stud_mm": 4.0}),
    ("AGM", {"mass_g": 6000.0, "charge_max_a": 6.0}),
    ("B01", {"serial": "12", "notes": "handle cracked", "cycles_at_intake": 40}),
    ("B01", {"code": "BLUE"}),
    ("reading", {"note": "in the shed", "temperature_c": 21.0}),
    ("reading", {"taken_at": MEASURED + timedelta(days=1)}),
]


def _named(change: tuple[str, dict[str, Any]]) -> str:
    return f"{change[0]}:{'+'.join(change[1])}"


@pytest.mark.parametrize("change", ENTERS, ids=_named)
def test_what_enters_the_simulation_changes_every_key(
    shop: MatchShop, change: tuple[str, dict[str, Any]]
) -> None:
    before = shop.keys()
    shop.change(change[0], **change[1])
    after = shop.keys()
    assert set(before) == set(after) == {"New AGM", "B01"}
    assert all(before[name] != after[name] for name in before)


@pytest.mark.parametrize("change", BESIDE, ids=_named)
def test_what_is_written_beside_it_changes_none(shop: MatchShop, change: tuple[str, dict[str, Any]]) -> None:
    before = set(shop.keys().values())
    shop.change(change[0], **change[1])
    assert set(shop.keys().values()) == before


@pytest.mark.parametrize(
    ("name", "values", "hits"),
    [
        ("reading", {"resistance_mohm": 16.0}, {"B01"}),
        ("test", {"capacity_ah": 15.0}, {"B01"}),
        ("AGM", {"resistance_new_mohm": 13.0}, {"New AGM"}),
        ("AGM", {"capacity_ah": 20.0}, {"New AGM"}),
        ("AGM", {"rest_curve": [[1.0, 12.9], [0.0, 11.8]]}, {"New AGM", "B01"}),
        ("AGM", {"polarisation_mohm": 4.0, "polarisation_s": 80.0}, {"New AGM", "B01"}),
    ],
)
def test_what_is_known_of_a_battery_changes_its_own_key(
    shop: MatchShop, name: str, values: dict[str, Any], hits: set[str]
) -> None:
    before = shop.keys()
    shop.change(name, **values)
    after = shop.keys()
    assert {label for label in before if before[label] != after[label]} == hits


def test_a_better_reading_counts_and_a_circuit_or_phase_more_or_less(shop: MatchShop) -> None:
    seen = [shop.keys()["B01"]]

    def changed() -> bool:
        seen.append(shop.keys()["B01"])
        return seen[-1] not in seen[:-1]

    Reading.objects.create(team=shop.scope.team, battery=shop["B01"], taken_at=MEASURED + timedelta(days=3),
                           resistance_mohm=18, method="pulse2", instrument="Meter A")  # fmt: skip
    assert changed()
    DutyPhase.objects.filter(pk=shop["idle"].pk).delete()
    assert changed()
    Circuit.objects.filter(pk=shop["PUMP"].pk).delete()
    assert changed()


def test_a_new_version_of_the_method_makes_every_study_anew(shop: MatchShop, monkeypatch) -> None:
    before = shop.keys()
    monkeypatch.setattr(inputs, "VERSION", "next")
    assert not set(before.values()) & set(shop.keys().values())


class _Kind(IntEnum):
    FEW = 1


@given(st.floats(-1e6, 1e6).filter(lambda x: x == 0 or abs(x) > 1e-6))
def test_the_last_bits_of_a_figure_do_not_matter_and_the_others_do(figure: float) -> None:
    assert content_key(figure) == content_key(np.nextafter(figure, np.inf) if figure else -0.0)
    assert content_key(figure) != content_key(figure + max(1e-6, abs(figure) * 1e-6))


def test_order_shape_and_names_matter() -> None:
    told = [
        content_key(np.array([1.0, 2.0])), content_key(np.array([2.0, 1.0])), content_key(np.array([[1.0, 2.0]])),
        content_key((1.0, 2.0)), content_key("1", "2"), content_key("12"), content_key(None), content_key("None"),
        content_key({"a": 1.0}), content_key({"b": 1.0}), content_key(_Kind.FEW, np.nan), content_key(slice(0, 2)),
    ]  # fmt: skip
    assert len(set(told)) == len(told)
    with pytest.raises(TypeError, match="no set"):
        content_key({1, 2})


def test_the_key_is_the_same_in_every_process() -> None:
    """Texts in sets come in another order in every process; none of that may reach a key."""
    program = (
        "from builds.match_study.content import content_key; import numpy as np; "
        "print(content_key('DRIVE', np.arange(3.0), {'b': 1, 'a': (None, 2.5)}))"
    )
    said = {
        subprocess.run(
            [sys.executable, "-c", f"import django, os; os.environ.setdefault('DJANGO_SETTINGS_MODULE', "
             f"'shared.settings'); django.setup(); {program}"],
            cwd=REPOSITORY, capture_output=True, text=True, check=True, env=_environment(seed),
        ).stdout.strip()
        for seed in ("1", "2")
    }  # fmt: skip
    assert len(said) == 1
    assert content.content_key("DRIVE", np.arange(3.0), {"b": 1, "a": (None, 2.5)}) in said


def _environment(seed: str) -> dict[str, str]:
    return {**os.environ, "PYTHONHASHSEED": seed}
