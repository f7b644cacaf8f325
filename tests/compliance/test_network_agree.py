"""The sweep and the answers about a build come from the same network: they say the same volts and amperes."""

from __future__ import annotations

import pytest

from builds.models import Build
from builds.network import Scenario
from builds.selectors.studies import solved_build
from compliance.sweeps.loads import load_facts
from tests.builds.study_shop import StudyShop

pytestmark = pytest.mark.django_db


def test_sweep_and_page_solve_the_same_robot() -> None:
    shop = StudyShop.open()
    part = shop.wiring.component("regulator", output_v=5.0, efficiency_frac=0.9, minimum_v=6.0)
    feed = shop.add("REG", role="feed", fed_from=shop.circuits["MAIN"], component=part, continuous_a=None)
    shop.add("CAM", fed_from=feed, continuous_a=2.0, duty_frac=0.2, cycle_s=10.0, peak_a=4.0)
    shop.add("BUS", fed_from=shop.circuits["CONTROLLER"], role="signal", continuous_a=None, wire=None)
    told = solved_build(shop.scope, shop.build)
    facts = load_facts(Build.objects.filter(pk=shop.build.pk), [shop.wiring.team.pk])
    place = {int(pk): i for i, pk in enumerate(facts.rows.ids)}
    assert len(told.circuits) == len(place) - 1
    for s in Scenario:
        assert facts.solved.board_v[0, s] == pytest.approx(told.scenarios[s].board_v, rel=1e-12)
        for circuit in told.circuits:
            i = place[circuit.circuit_id]
            assert facts.solved.load_v[i, s] == pytest.approx(circuit.nodes[s].load_v, rel=1e-12)
            assert facts.solved.current_a[i, s] == pytest.approx(circuit.nodes[s].current_a, rel=1e-12)
