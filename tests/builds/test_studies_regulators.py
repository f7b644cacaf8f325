"""Regulators in the studies: what they need at least, and that a match takes them as the solved robot does."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from builds.match_study import run_studies, study_inputs
from builds.models import Build
from builds.network import Scenario
from builds.selectors.studies import solved_build
from builds.studies import LevelMargin, SolvedBuild
from tests.builds.study_shop import StudyShop

pytestmark = pytest.mark.django_db


@pytest.fixture
def shop() -> StudyShop:
    return StudyShop.open()


def regulated(shop: StudyShop, output_v: float, **part: Any) -> None:
    """A radio behind a regulator on the board."""
    w, given = shop.wiring, {"wire": shop.wiring.wire("12 AWG"), "build": shop.build, "continuous_a": None}
    regulator = w.component(
        "regulator", nominal_v=12.0, nominal_a=1.0, output_v=output_v, efficiency_frac=0.9, **part
    )
    link = w.component("radio", nominal_v=output_v, nominal_a=0.5, minimum_v=0.9 * output_v)
    step = shop.add("STEP", fed_from=shop.circuits["MAIN"], component=regulator, **given)
    shop.add("LINK", fed_from=step, component=link, **given)


def level(told: SolvedBuild, code: str) -> LevelMargin | None:
    return next((one for one in told.scenarios[Scenario.PUSH].levels if one.code == code), None)


def lowest_in_a_match(shop: StudyShop, mohm: float) -> tuple[float, float]:
    """Lowest voltages of the regulator's input and of what hangs behind it."""
    shop.battery("TIRED", mohm)
    (inputs,) = study_inputs(shop.scope, Build.objects.filter(pk=shop.build.pk))
    assert inputs.robot is not None
    battery = next(case.battery for case in inputs.cases if case.battery.label == "TIRED")
    (outcome,) = run_studies(inputs.robot, [battery], 3)
    lowest = {c["code"]: c["lowest_v"] for c in outcome["circuits"]}
    return lowest["STEP"], lowest["LINK"]


def test_one_that_steps_up_needs_no_more_than_it_is_fed(shop: StudyShop) -> None:
    regulated(shop, 24.0)
    told = solved_build(shop.scope, shop.build)
    assert level(told, "STEP") is None
    assert not any(a.code == "STEP" and "too little" in a.what for a in told.assumptions)
    # 0.5 A through 1 m of 12 AWG (5.21 mohm per m, out and back) and joints and fuse: well under 20 mV.
    link = level(told, "LINK")
    assert link is not None
    assert link.load_v == pytest.approx(24.0, abs=0.02)
    assert lowest_in_a_match(shop, 40.0)[1] == pytest.approx(24.0, abs=0.02)


def test_one_that_steps_down_needs_what_it_gives_out(shop: StudyShop) -> None:
    regulated(shop, 11.5)
    found = level(solved_build(shop.scope, shop.build), "STEP")
    assert found is not None
    assert found.minimum_v == 11.5
    came_in, gave_out = lowest_in_a_match(shop, 40.0)
    assert came_in < 11.0
    assert gave_out < came_in


def test_the_least_input_entered_counts_in_the_solved_robot_and_in_a_match(shop: StudyShop) -> None:
    regulated(shop, 11.5, minimum_v=5.0)
    told = solved_build(shop.scope, shop.build, shop.battery("WORN", 40.0))
    found, link = level(told, "STEP"), level(told, "LINK")
    assert found is not None
    assert link is not None
    assert found.minimum_v == 5.0
    assert not any("too little" in a.what for a in told.assumptions)
    came_in, gave_out = lowest_in_a_match(shop, 40.0)
    assert 5.0 < came_in < 11.0
    assert gave_out == pytest.approx(link.load_v, abs=0.01)
    assert np.isfinite(gave_out)
