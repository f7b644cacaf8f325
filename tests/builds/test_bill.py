"""The bill of materials against sums done by hand."""

from __future__ import annotations

from decimal import Decimal

import pytest

from builds.models import BuildLine
from builds.selectors.bill import UseFor, bill_of_materials
from tests.builds.workshop import Workshop, make_build, make_circuit, make_workshop

pytestmark = pytest.mark.django_db


@pytest.fixture
def shop() -> Workshop:
    return make_workshop()


def amounts(bill, build):
    """Part id -> (needed, installed, lacking)."""
    return {
        line.part_id: (float(line.needed), float(line.installed), float(line.lacking))
        for line in bill.of(build.pk)
    }


def test_a_circuit_implies_its_wire_terminals_device_and_component(shop):
    build = make_build(shop)
    make_circuit(shop, build, "DONE", length_m=1.5)
    make_circuit(shop, build, "OPEN", length_m=0.8, parallel=2, wired=False, device_fitted=False)
    bill = bill_of_materials(shop.scope, [build])
    # By hand, 0.05 m allowance at each conductor end: 2 x (1.5 + 0.1) = 3.2 m and 4 x (0.8 + 0.1) = 3.6 m;
    # a terminal at each end of 2 and of 4 conductors; one device and one component per circuit.
    assert amounts(bill, build) == {
        shop.wire.pk: (6.8, 3.2, 3.6),
        shop.ring.pk: (6, 2, 4),
        shop.blade.pk: (6, 2, 4),
        shop.fuse.pk: (2, 1, 1),
        shop.motor.pk: (2, 1, 1),
    }
    assert bill.gaps == ()


def test_the_same_terminal_at_both_ends_is_counted_at_both(shop):
    build = make_build(shop)
    make_circuit(shop, build, "A", terminal_load=shop.ring, wired=False)
    assert amounts(bill_of_materials(shop.scope, [build]), build)[shop.ring.pk] == (4, 0, 4)


def test_a_missing_length_is_a_gap_and_not_no_wire(shop):
    build = make_build(shop)
    make_circuit(shop, build, "A", length_m=None, wired=False)
    bill = bill_of_materials(shop.scope, [build])
    assert shop.wire.pk not in amounts(bill, build)
    assert [(gap.circuit_code, gap.missing) for gap in bill.gaps] == [("A", "length")]


def test_further_parts_add_to_what_circuits_imply_and_say_what_for(shop):
    build = make_build(shop)
    make_circuit(shop, build, "A")
    BuildLine.objects.create(
        team=shop.team, build=build, part=shop.motor, quantity=3, installed=1, note="spares"
    )
    bill = bill_of_materials(shop.scope, [build])
    assert amounts(bill, build)[shop.motor.pk] == (4, 2, 2)
    line = next(line for line in bill.of(build.pk) if line.part_id == shop.motor.pk)
    assert [(u.what_for, u.label) for u in line.uses] == [(UseFor.COMPONENT, "A"), (UseFor.LINE, "spares")]


def test_another_teams_build_gives_nothing(shop):
    other = make_workshop()
    build = make_build(other)
    make_circuit(other, build, "A")
    assert bill_of_materials(shop.scope, [build]).lines == ()


def test_the_allowance_can_be_given(shop):
    build = make_build(shop)
    make_circuit(shop, build, "A", length_m=1.0)
    bill = bill_of_materials(shop.scope, [build], end_allowance_m=0.25)
    assert next(li.needed for li in bill.lines if li.part_id == shop.wire.pk) == Decimal(3)


@pytest.mark.parametrize("count", [2, 50])
def test_two_queries_however_many_builds(shop, count, django_assert_num_queries):
    builds = [make_build(shop) for _ in range(count)]
    for build in builds:
        make_circuit(shop, build, "A")
        BuildLine.objects.create(team=shop.team, build=build, part=shop.motor, quantity=1)
    with django_assert_num_queries(2):
        bill = bill_of_materials(shop.scope, builds)
    assert len(bill.lines) == 5 * count
