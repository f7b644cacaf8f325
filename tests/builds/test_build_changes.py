"""What the change between two builds did: circuits added, removed and changed, each alone and all together."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

import pytest

from builds.models import Build
from builds.network import Scenario
from builds.selectors.studies import build_before, build_changes, solved_build
from builds.services.builds import build_copy
from builds.studies import Kind
from tests.builds.study_shop import StudyShop

pytestmark = pytest.mark.django_db


@pytest.fixture
def shop() -> StudyShop:
    return StudyShop.open()


def changed(shop: StudyShop, **radio: Any) -> Build:
    copy = build_copy(scope=shop.scope, build=shop.build, label="rev B", dated=shop.build.dated)
    copy.circuits.filter(code="RADIO").update(**radio)
    return copy


def test_a_copy_changes_nothing(shop: StudyShop) -> None:
    study = build_changes(shop.scope, shop.build, changed(shop))
    assert study.changes == ()
    assert study.build_fields == ()
    assert all(e.change == pytest.approx(0.0, abs=1e-12) for e in study.effects if e.before is not None)


def test_added_removed_and_changed_circuits_with_their_effect(shop: StudyShop) -> None:
    after = changed(shop, length_m=3.0)
    after.circuits.filter(code="ARM-1").delete()
    shop.wiring.circuit(build=after, code="LAMP", fed_from=after.circuits.get(code="MAIN"), continuous_a=9.0)
    study = build_changes(shop.scope, shop.build, after)
    by_code = {c.code: c for c in study.changes}
    assert {code: c.kind for code, c in by_code.items()} == {
        "ARM-1": Kind.REMOVED, "LAMP": Kind.ADDED, "RADIO": Kind.CHANGED,
    }  # fmt: skip
    (field,) = by_code["RADIO"].fields
    assert (field.field, field.old, field.new) == ("length_m", "1", "3")
    assert by_code["ARM-1"].board_v_effect > 0.1  # type: ignore[operator]
    assert by_code["LAMP"].board_v_effect < -0.05  # type: ignore[operator]
    # 2 conductors x 2 m more of 22 AWG (0.3255 mm2), copper 8.89 g/cm3.
    assert by_code["RADIO"].copper_g == pytest.approx(4 * 0.3255 * 8.89, rel=1e-3)
    effects = {e.key: e for e in study.effects}
    sides = [solved_build(shop.scope, b).scenarios[Scenario.PUSH].board_v for b in (shop.build, after)]
    assert [effects["board_v_push"].before, effects["board_v_push"].after] == pytest.approx(sides)
    assert effects["conductors_cost"].before is None


def test_alone_effects_add_up_to_the_whole_for_one_change(shop: StudyShop) -> None:
    after = changed(shop)
    after.circuits.filter(code="DRIVE-1").update(length_m=4.0, joints_mohm=20.0)
    study = build_changes(shop.scope, shop.build, after)
    (only,) = study.changes
    whole = next(e for e in study.effects if e.key == "board_v_push")
    assert only.board_v_effect == pytest.approx(whole.change)
    assert {f.field for f in only.fields} == {"length_m", "joints_mohm"}


def test_a_moved_circuit_and_the_build_s_own_figures(shop: StudyShop) -> None:
    after = changed(shop, fed_from=None)
    after.ambient_c = 40.0
    after.save()
    study = build_changes(shop.scope, shop.build, after)
    (radio,) = study.changes
    assert [(f.old, f.new) for f in radio.fields] == [("MAIN", "battery")]
    assert radio.board_v_effect is None
    assert [(f.field, f.old, f.new) for f in study.build_fields] == [("ambient_c", "30", "40")]


def test_the_conductors_cost_is_known_when_every_wire_has_an_offer(shop: StudyShop) -> None:
    for wire in {c.wire for c in shop.circuits.values()}:
        assert wire is not None
        shop.offer(wire, "10.00")
    study = build_changes(shop.scope, shop.build, changed(shop, length_m=2.0))
    cost = next(e for e in study.effects if e.key == "conductors_cost")
    assert cost.change == pytest.approx(2.0)
    assert study.changes[0].cost == Decimal("2")


def test_the_build_before_is_the_one_dated_before(shop: StudyShop) -> None:
    later = changed(shop)
    assert build_before(shop.scope, shop.build) is None
    assert build_before(shop.scope, later) == shop.build
    other = shop.wiring.robot("TERN", shop.wiring.season)
    assert build_before(shop.scope, other) is None
    first = build_changes(shop.scope, None, shop.build)
    assert "first build" in first.cannot
    assert (first.before_id, first.after_id) == (None, shop.build.pk)


def test_two_empty_builds_have_nothing_to_tell(shop: StudyShop) -> None:
    one, two = (shop.wiring.robot(code, shop.wiring.season) for code in ("TERN", "AUK"))
    study = build_changes(shop.scope, one, two)
    assert study.changes == ()
    assert "No circuit of this build" in study.cannot
    assert all(e.before is None for e in study.effects if e.unit == "V")


def test_a_circuit_that_became_a_regulator_has_no_effect_of_its_own(shop: StudyShop) -> None:
    w, main = shop.wiring, shop.circuits["MAIN"]
    part = w.component("regulator", nominal_v=12.0, nominal_a=1.0, output_v=5.0, efficiency_frac=0.9)
    shop.add(
        "STEP", fed_from=main, wire=w.wire("12 AWG"), component=part, build=shop.build, continuous_a=None
    )
    after = changed(shop)
    after.circuits.filter(code="STEP").update(length_m=2.0)
    lamp = w.component("other", nominal_v=5.0, nominal_a=0.5)
    w.circuit(
        build=after, code="LAMP", fed_from=after.circuits.get(code="STEP"), component=lamp, continuous_a=None
    )
    study = build_changes(shop.scope, shop.build, after)
    by_code = {c.code: c for c in study.changes}
    assert (by_code["STEP"].kind, by_code["STEP"].board_v_effect) == (Kind.CHANGED, None)
    effects = {e.key: e for e in study.effects}
    sides = [solved_build(shop.scope, b).scenarios[Scenario.PUSH].board_v for b in (shop.build, after)]
    assert [effects["board_v_push"].before, effects["board_v_push"].after] == pytest.approx(sides)
