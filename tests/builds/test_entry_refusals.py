"""What is refused where circuits, components and devices are entered, with the field named on every way in."""

from __future__ import annotations

from typing import Any, cast

import pytest
from django.core.exceptions import ValidationError
from django.test import Client
from django.urls import reverse
from rest_framework.test import APIClient

from builds.admin import CircuitForm
from builds.models import Build, Circuit, DutyPhase, DutyProfile
from builds.services.builds import build_make_current
from builds.services.circuits import circuit_save
from builds.views.circuits import CIRCUIT_FIELDS
from inventory.models import BatteryModel, Component, ProtectiveDevice
from shared.errors import DomainError
from shared.fields import quantity_form
from shared.models import User
from shared.records import errors_by_field, record_save
from tests.builds.workshop import Workshop, make_build, make_circuit, make_workshop

pytestmark = pytest.mark.django_db

ASKED = {"code": "C9", "name": "Arm", "role": "branch", "parallel": "1", "bundle_count": "2"}
#: What is wrong -> the field that must be named.
WRONG: list[tuple[dict[str, Any], str]] = [
    ({"length_m": "0"}, "length_m"),
    ({"length_m": "-3 ft"}, "length_m"),
    ({"parallel": "0"}, "parallel"),
    ({"joints_mohm": "0"}, "joints_mohm"),
    ({"joints_mohm": "-1"}, "joints_mohm"),
    ({"limit_a": "0"}, "limit_a"),
    ({"continuous_a": "-1"}, "continuous_a"),
    ({"continuous_a": "20", "peak_a": "10"}, "peak_a"),
    ({"duty_frac": "120 %"}, "duty_frac"),
    ({"ambient_c": "500"}, "ambient_c"),
]


@pytest.fixture
def shop() -> Workshop:
    return make_workshop()


def api(shop: Workshop) -> APIClient:
    client = APIClient()
    client.force_authenticate(shop.scope.user)
    return client


NO_BATTERY = "needs the kind of battery it runs on"


def no_battery(shop: Workshop, label: str = "rev A", state: str = "draft") -> Build:
    """A build of a robot whose battery nobody named."""
    build = make_build(shop, label=label, state=state)
    build.battery_model = None
    build.save()
    return build


def test_a_build_without_a_battery_does_not_become_current(shop: Workshop) -> None:
    before = make_build(shop)
    build = no_battery(shop, "rev B")
    build.robot = before.robot
    build.save()
    make_circuit(shop, build, "C1")
    with pytest.raises(DomainError) as refused:
        build_make_current(scope=shop.scope, build=build)
    assert (refused.value.field, refused.value.remedy != "") == ("battery_model", True)
    assert [b.state for b in Build.objects.order_by("pk")] == ["current", "draft"]
    build.battery_model = shop.block
    record_save(scope=shop.scope, instance=build)
    assert build_make_current(scope=shop.scope, build=build).state == "current"


def test_page_and_api_refuse_a_current_build_without_a_battery(shop: Workshop, client: Client) -> None:
    build = no_battery(shop)
    make_circuit(shop, build, "C1")
    client.force_login(cast(User, shop.scope.user))
    page = client.post(reverse("build-current", kwargs={"team": shop.team.slug, "pk": build.pk}))
    assert page.status_code == 400
    assert NO_BATTERY in page.content.decode()
    answer = api(shop).post(f"/api/v1/t/{shop.team.slug}/builds/{build.pk}/make-current/")
    assert (answer.status_code, answer.json()["field"]) == (400, "battery_model")
    assert "Choose the battery model" in answer.json()["remedy"]
    build.refresh_from_db()
    assert build.state == "draft"


def test_the_battery_of_a_current_build_with_circuits_stays_named(shop: Workshop, client: Client) -> None:
    build = make_build(shop)
    body = {"battery_model": None}
    at = f"/api/v1/t/{shop.team.slug}/builds/{build.pk}/"
    assert api(shop).patch(at, body, format="json").status_code == 200  # a list of parts needs no battery
    record_save(scope=shop.scope, instance=build)  # with its battery again
    make_circuit(shop, build, "C1")
    answer = api(shop).patch(at, body, format="json")
    assert (answer.status_code, list(answer.json())) == (400, ["battery_model"])
    client.force_login(cast(User, shop.scope.user))
    given = {"label": "rev A", "dated": "2026-10-01", "ambient_c": "30", "battery_model": ""}
    page = client.post(reverse("build-edit", kwargs={"team": shop.team.slug, "pk": build.pk}), given)
    assert list(page.context["form"].errors) == ["battery_model"]


def test_the_first_circuit_of_a_current_build_asks_for_its_battery(shop: Workshop) -> None:
    build = no_battery(shop, state="current")
    answer = api(shop).post(
        f"/api/v1/t/{shop.team.slug}/circuits/", {**ASKED, "build": build.pk}, format="json"
    )
    assert answer.status_code == 400
    assert "battery_model of the build" in str(answer.json())
    form = quantity_form(Circuit, CIRCUIT_FIELDS)(
        ASKED, instance=Circuit(team=shop.team, build=build), team=shop.team
    )
    assert NO_BATTERY in str(form.non_field_errors())
    assert not Circuit.objects.exists()


def test_a_row_from_before_is_left_to_the_rule_on_minimal_wiring(shop: Workshop) -> None:
    build = no_battery(shop, state="current")
    make_circuit(shop, build, "C1")
    build.notes = "Seen"
    record_save(scope=shop.scope, instance=build)
    circuit_save(scope=shop.scope, circuit=Circuit(team=shop.team, build=build, code="C2", name="Arm"))
    assert build_make_current(scope=shop.scope, build=build).state == "current"


@pytest.mark.parametrize(("given", "field"), WRONG)
def test_a_circuit_form_names_the_wrong_field_only(shop: Workshop, given: dict[str, Any], field: str) -> None:
    row = Circuit(team=shop.team, build=make_build(shop))
    form = quantity_form(Circuit, CIRCUIT_FIELDS)({**ASKED, **given}, instance=row, team=shop.team)
    assert list(form.errors) == [field]
    assert field not in str(form.errors[field][0])


@pytest.mark.parametrize(("given", "field"), WRONG)
def test_the_api_names_the_wrong_field_only(shop: Workshop, given: dict[str, Any], field: str) -> None:
    body = {**ASKED, **given, "build": make_build(shop).pk}
    answer = api(shop).post(f"/api/v1/t/{shop.team.slug}/circuits/", body, format="json")
    assert answer.status_code == 400
    assert list(answer.json()) == [field]
    assert not Circuit.objects.exists()


def ring(shop: Workshop) -> tuple[Circuit, Circuit]:
    """A main feed with a branch, the main about to be fed from the branch."""
    build = make_build(shop)
    main = make_circuit(shop, build, "MAIN", role="main")
    return main, make_circuit(shop, build, "C1", fed_from=main)


def test_the_api_refuses_a_ring_at_what_feeds_it(shop: Workshop) -> None:
    main, branch = ring(shop)
    url = f"/api/v1/t/{shop.team.slug}/circuits/{main.pk}/"
    answer = api(shop).patch(url, {"fed_from": branch.pk}, format="json")
    assert answer.status_code == 400
    assert answer.json()["field"] == "fed_from"
    assert answer.json()["value"] == "C1"
    assert "MAIN < C1 < MAIN" in answer.json()["detail"]


def test_a_repair_cannot_close_a_ring_either(shop: Workshop) -> None:
    main, branch = ring(shop)
    data = {f.name: f.value_from_object(main) for f in Circuit._meta.concrete_fields if f.editable}
    data = {name: "" if value is None else value for name, value in data.items()}
    form_class: Any = type("AllFields", (CircuitForm,), {"Meta": _meta(Circuit)})
    assert form_class(data, instance=Circuit.objects.get(pk=main.pk)).is_valid()
    form = form_class({**data, "fed_from": branch.pk}, instance=Circuit.objects.get(pk=main.pk))
    assert list(form.errors) == ["fed_from"]


def _meta(model: Any) -> type:
    return type("Meta", (), {"model": model, "fields": "__all__"})


def test_a_circuit_is_fed_from_its_own_build_only(shop: Workshop) -> None:
    main, branch = ring(shop)
    branch.build = make_build(shop)
    with pytest.raises(DomainError, match="another build") as refused:
        circuit_save(scope=shop.scope, circuit=branch)
    assert refused.value.field == "fed_from"
    main.build = branch.build
    with pytest.raises(DomainError, match="feeds other circuits") as refused:
        circuit_save(scope=shop.scope, circuit=main)
    assert refused.value.field == "build"


def test_a_circuit_that_feeds_none_may_move_to_another_build(shop: Workshop) -> None:
    main, branch = ring(shop)
    branch.delete()
    main.build = make_build(shop)
    assert circuit_save(scope=shop.scope, circuit=main).build == main.build


def refusals(shop: Workshop, row: Any) -> dict[str, list[str]]:
    with pytest.raises(ValidationError) as refused:
        record_save(scope=shop.scope, instance=row)
    return errors_by_field(refused.value)


def component(shop: Workshop, **values: Any) -> Component:
    return Component(team=shop.team, code="X1", name="Part", **{"role": "motor", **values})


@pytest.mark.parametrize(
    ("values", "field", "words"),
    [
        ({"role": "regulator"}, "output_v", "output voltage"),
        ({"role": "regulator", "output_v": 0}, "output_v", "greater than zero"),
        ({"role": "regulator", "output_v": 5, "efficiency_frac": 1.1}, "efficiency_frac", "between 0 and 1"),
        ({"role": "regulator", "output_v": 5, "efficiency_frac": 0}, "efficiency_frac", "greater than zero"),
        ({"role": "regulator", "output_v": 5, "output_max_a": -2}, "output_max_a", "greater than zero"),
        ({"free_a": 2, "stall_a": 2}, "stall_a", "above the free current"),
        ({"free_a": -1}, "free_a", "below zero"),
        ({"stall_a": 0}, "stall_a", "greater than zero"),
        ({"spin_up_s": 0}, "spin_up_s", "greater than zero"),
        ({"draw": "guessed"}, "draw", "not a valid choice"),
    ],
)
def test_a_component_names_its_wrong_figure(
    shop: Workshop, values: dict[str, Any], field: str, words: str
) -> None:
    told = refusals(shop, component(shop, **values))
    assert list(told) == [field]
    assert words in " ".join(told[field])


def test_a_motor_and_a_regulator_are_saved(shop: Workshop) -> None:
    record_save(scope=shop.scope, instance=component(shop, free_a=0.0, stall_a=120, spin_up_s=0.2))
    whole = component(shop, role="regulator", output_v=5, efficiency_frac=1, output_max_a=3)
    whole.code = "X2"
    record_save(scope=shop.scope, instance=whole)
    assert {c.draw for c in Component.objects.filter(code__startswith="X")} == {""}


def test_a_device_of_no_resistance_is_refused(shop: Workshop) -> None:
    device = ProtectiveDevice(
        team=shop.team, code="F1", name="Fuse", form="blade", rating_a=10, resistance_mohm=0, heat_s=0
    )
    assert sorted(refusals(shop, device)) == ["heat_s", "resistance_mohm"]


def test_polarisation_needs_both_of_its_figures(shop: Workshop) -> None:
    model = BatteryModel(team=shop.team, code="B1", name="Block", chemistry="agm", capacity_ah=18)
    model.polarisation_mohm = 4
    assert list(refusals(shop, model)) == ["polarisation_s"]
    model.polarisation_mohm, model.polarisation_s = None, 30
    assert list(refusals(shop, model)) == ["polarisation_mohm"]
    model.polarisation_mohm = 4
    record_save(scope=shop.scope, instance=model)


@pytest.mark.parametrize(
    ("values", "field"),
    [({"lasts_s": 0}, "lasts_s"), ({"draw_frac": 1.01}, "draw_frac"), ({"torque_frac": -0.1}, "torque_frac")],
)
def test_a_phase_names_its_wrong_figure(shop: Workshop, values: dict[str, Any], field: str) -> None:
    profile = DutyProfile(team=shop.team, code="DRIVE", name="Drive")
    record_save(scope=shop.scope, instance=profile)
    phase = DutyPhase(profile=profile, place=1, name="push", **{"lasts_s": 2, "draw_frac": 1, **values})
    assert list(refusals(shop, phase)) == [field]
