"""The demo's weak shared feed solved by ngspice: what the sweep says of it, and what the thicker wire does."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from pytest_django import DjangoDbBlocker

from builds.electrical import judged_builds
from builds.models import Circuit
from builds.network import Scenario
from builds.studies.base import only
from compliance.rules.network_facts import NetworkFacts
from compliance.rules.network_remedies import arriving_v
from compliance.sweeps.loads import findings, load_facts
from shared.electrical.gauges import awg_area_mm2
from shared.electrical.network import Loads
from tests.compliance.demo_world import demo_world
from tests.compliance.load_shop import NOW
from tests.spice import MISSING, NGSPICE, Problem, netlist, operating_points

pytestmark = [pytest.mark.spice, pytest.mark.skipif(NGSPICE is None, reason=MISSING)]


@pytest.fixture(scope="module")
def kittiwake(
    django_db_setup: None, django_db_blocker: DjangoDbBlocker
) -> Iterator[tuple[NetworkFacts, float]]:
    """The robot's facts, and the voltage the sweep tells of its vision computer."""
    with django_db_blocker.unblock(), demo_world() as teams:
        facts = load_facts(judged_builds([teams[0].pk]).filter(robot__code="KITTIWAKE"), [teams[0].pk])
        of = Circuit.objects.get(build__robot__code="KITTIWAKE", build__state="current", code="VISION")
        found = [
            f
            for f in findings([teams[0].pk], now=NOW)[0]
            if f.rule_code == "load-voltage" and f.subject_id == of.pk
        ]
        assert [f.value is not None for f in found] == [True]
        yield facts, float(found[0].value or 0.0)


def in_one(loads: Loads, scenario: Scenario) -> Loads:
    """The loads of one scenario, one figure per branch."""
    return Loads(
        **{name: np.asarray(value).reshape(-1) for name, value in vars(only(loads, scenario)).items()}
    )


def problem_of(facts: NetworkFacts, scenario: Scenario = Scenario.PUSH) -> Problem:
    a = facts.assembled
    assert a.robots == 1
    return Problem(a.tree, facts.sources, in_one(a.loads, scenario))


def by_spice(problem: Problem, branch: int, folder: Path) -> float:
    volts = operating_points([netlist(problem)], folder)[0]
    assert volts is not None
    return volts[f"p{branch}"] - volts[f"n{branch}"]


def branch_of(facts: NetworkFacts, code: str) -> int:
    return int(facts.assembled.branch[list(facts.rows.circuits.texts("code")).index(code)])


def test_ngspice_finds_the_voltage_the_sweep_tells(
    kittiwake: tuple[NetworkFacts, float], tmp_path: Path
) -> None:
    facts, told_v = kittiwake
    spice_v = by_spice(problem_of(facts), branch_of(facts, "VISION"), tmp_path)
    assert told_v == pytest.approx(spice_v, abs=1e-6)
    assert spice_v < 8.8


def test_ngspice_finds_that_the_size_named_removes_it(
    kittiwake: tuple[NetworkFacts, float], tmp_path: Path
) -> None:
    """8 AWG (8.366 mm2) instead of 10 AWG (5.261 mm2) in the shared feed: a pole loses 37 % of its wire."""
    facts, told_v = kittiwake
    panel, vision = (list(facts.rows.circuits.texts("code")).index(code) for code in ("PANEL", "VISION"))
    problem, at = problem_of(facts), branch_of(facts, "PANEL")
    less = np.zeros(problem.tree.supply_ohm.shape)
    less[at] = facts.currents.pole_ohm_at(facts.conductor_c)[panel] * (
        1 - awg_area_mm2("10") / awg_area_mm2("8")
    )
    thicker = replace(
        problem, tree=problem.tree.with_ohm(problem.tree.supply_ohm - less, problem.tree.return_ohm - less)
    )
    spice_v = by_spice(thicker, branch_of(facts, "VISION"), tmp_path)
    assert spice_v > 8.8 > told_v
    assert arriving_v(facts, vision, panel, awg_area_mm2("8")) == pytest.approx(spice_v, abs=1e-6)


def test_alone_on_the_board_it_would_have_enough(
    kittiwake: tuple[NetworkFacts, float], tmp_path: Path
) -> None:
    """Without what pushes beside it the same wires leave it plenty: the fault is what they share."""
    facts, _ = kittiwake
    running = problem_of(facts, Scenario.RUNNING)
    assert by_spice(running, branch_of(facts, "VISION"), tmp_path) > 10.5
