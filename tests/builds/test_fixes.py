"""A fix as a draft: the new wire, and terminals that take it where the team keeps some."""

from __future__ import annotations

import pytest

from builds.models import Circuit
from builds.services.fixes import FixDraft, fix_as_draft
from inventory.models import TerminalType, WireType
from tests.builds.workshop import Workshop, make_build, make_circuit, make_workshop

pytestmark = pytest.mark.django_db


@pytest.fixture
def shop() -> Workshop:
    return make_workshop()


def terminal(shop: Workshop, code: str, **values: object) -> TerminalType:
    given = {"name": code, "form": "ring", "area_min_mm2": 2.5, "area_max_mm2": 6.0, "hole_mm": 5.3}
    made = TerminalType(team=shop.team, code=code, **{**given, **values})
    made.full_clean()
    made.save()
    return made


def mended(shop: Workshop, area_mm2: float) -> tuple[FixDraft, Circuit]:
    """A circuit with a ring (M5) and a push-on for 1.5 to 2.5 mm2, rewired."""
    build = make_build(shop)
    circuit = make_circuit(shop, build, "ARM")
    wire = WireType(
        team=shop.team, code="NEW", name="New wire", unit="m", size_typed=f"{area_mm2:g} mm2",
        area_mm2=area_mm2, insulation_class_c=105,
    )  # fmt: skip
    wire.full_clean()
    wire.save()
    draft = fix_as_draft(scope=shop.scope, build=build, circuit=circuit, wire=wire)
    return draft, draft.build.circuits.get(code="ARM")


def test_ends_that_take_the_new_wire_stay(shop):
    terminal(shop, "RING-4")
    draft, arm = mended(shop, 2.5)
    assert arm.wire is not None
    assert (arm.wire.code, arm.terminal_source, arm.terminal_load) == ("NEW", shop.ring, shop.blade)
    assert draft.ends == ()


def test_a_terminal_of_the_same_form_and_hole_takes_the_place_of_one_too_small(shop):
    fits = terminal(shop, "RING-4")
    terminal(shop, "A-WIDE", area_min_mm2=1.0, area_max_mm2=10.0)
    terminal(shop, "A-M6", hole_mm=6.4)
    terminal(shop, "A-LUG", form="lug")
    terminal(shop, "A-OLD", archived=True)
    draft, arm = mended(shop, 4.0)
    assert arm.terminal_source == fits, "the narrowest barrel on the same stud"
    assert arm.terminal_load == shop.blade, "no push-on takes it: kept"
    assert draft.ends == (
        "RING-4 in place of RING at the feeding end.",
        "BLADE at the load end does not take it, and the parts list has none like it that does.",
    )


def test_a_terminal_without_a_hole_is_replaced_by_one_without_a_hole(shop):
    fits = terminal(shop, "BLADE-4", form="blade", hole_mm=None)
    terminal(shop, "A-BLADE-M4", form="blade", hole_mm=4.3)
    _, arm = mended(shop, 4.0)
    assert arm.terminal_load == fits


def test_the_build_itself_and_other_teams_are_left_alone(shop):
    other = make_workshop()
    terminal(other, "RING-4")
    _, arm = mended(shop, 4.0)
    assert arm.terminal_source == shop.ring
    old = Circuit.objects.exclude(pk=arm.pk).get(code="ARM", team=shop.team)
    assert (old.wire, old.terminal_source) == (shop.wire, shop.ring)
