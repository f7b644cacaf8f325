"""Robots, builds, circuits, events and outings over the API."""

from __future__ import annotations

from datetime import timedelta
from decimal import Decimal

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone
from rest_framework.test import APIClient

from builds.models import BuildLine, BuildState, Circuit, Event, Match, Outing, Season
from inventory.models import BatteryState
from shared.models import Role
from tests.builds.workshop import make_build, make_circuit, make_event, make_robot, make_workshop
from tests.compliance.flagged import make_battery
from tests.inventory.stockroom import make_part, make_scope

pytestmark = pytest.mark.django_db
LISTS = ["season", "robot", "build", "buildline", "circuit", "event", "match", "outing"]


@pytest.fixture
def shop():
    return make_workshop(Role.LEAD)


@pytest.fixture
def api(shop):
    client = APIClient()
    client.force_authenticate(shop.scope.user)
    return client


def url(shop, name, **kwargs):
    return reverse(f"api-{name}", kwargs={"team": shop.team.slug, **kwargs})


def as_role(shop, role):
    client = APIClient()
    client.force_authenticate(make_scope(shop.team, role).user)
    return client


def fill(shop, first, last):
    """Rows of every kind, one more of each for every number."""
    for n in range(first, last):
        Season.objects.create(team=shop.team, name=f"S{n}", starts_on="2026-01-01", ends_on="2026-12-31")
        build = make_build(shop)
        make_circuit(shop, build, "C1")
        BuildLine.objects.create(team=shop.team, build=build, part=make_part(shop.team, f"P{n}"), quantity=2)
        event = make_event(shop, f"E{n}", timezone.localdate() + timedelta(days=n), [build.robot])
        match = Match.objects.create(
            team=shop.team, event=event, robot=build.robot, number="1", starts_at=timezone.now()
        )
        Outing.objects.create(
            team=shop.team, battery=make_battery(shop.team, f"B{n}"), match=match, started_at=timezone.now()
        )


def test_lists_take_no_more_queries_for_fifty_rows_than_for_two(shop, api):
    def queries():
        counts = {}
        for name in LISTS:
            with CaptureQueriesContext(connection) as asked:
                answer = api.get(url(shop, f"{name}-list"))
            counts[name] = (answer.status_code, len(asked))
        return counts

    fill(shop, 0, 2)
    two = queries()
    assert {status for status, _ in two.values()} == {200}
    fill(shop, 2, 50)
    assert queries() == two
    assert api.get(url(shop, "circuit-list")).data["count"] == 50


def test_a_robot_a_build_and_a_circuit_are_entered(shop, api):
    robot = api.post(url(shop, "robot-list"), {"code": "r1", "name": "One", "season": shop.season.pk})
    given = {"robot": robot.data["id"], "label": "rev A", "dated": "2026-10-01", "state": "current"}
    build = api.post(url(shop, "build-list"), given)
    assert (build.status_code, build.data["state"]) == (201, "draft")  # one current build: by its own address
    given = {"build": build.data["id"], "code": "C1", "name": "Arm", "length_m": "3 ft", "wire": shop.wire.pk}
    circuit = api.post(url(shop, "circuit-list"), given)
    assert circuit.status_code == 201
    assert circuit.data["length_m"] == pytest.approx(0.9144)  # NIST SP 811 table B.8: 1 ft = 0.3048 m
    twice = api.post(url(shop, "circuit-list"), given)
    assert twice.status_code == 400
    api.patch(url(shop, "build-detail", pk=build.data["id"]), {"battery_model": shop.block.pk})
    current = api.post(url(shop, "build-make-current", pk=build.data["id"]))
    assert current.data["state"] == BuildState.CURRENT


def test_a_season_says_how_long_a_match_lasts(shop, api):
    given = {"name": "Next", "starts_on": "2028-01-01", "ends_on": "2028-12-31"}
    made = api.post(url(shop, "season-list"), given)
    assert (made.status_code, made.data["match_s"]) == (201, 150.0)
    page = url(shop, "season-detail", pk=made.data["id"])
    assert api.patch(page, {"match_s": 120}).data["match_s"] == 120.0
    for wrong in (5, 1000):
        refused = api.patch(page, {"match_s": wrong})
        assert refused.status_code == 400
        assert "lies between 10 and 900 s" in str(refused.data)
        assert "match_s" in str(refused.data)
    assert Season.objects.get(name="Next").match_s == 120.0


def test_a_ring_of_feeds_is_refused_with_the_field(shop, api):
    build = make_build(shop)
    first = make_circuit(shop, build, "C1")
    second = make_circuit(shop, build, "C2", fed_from=first)
    answer = api.patch(url(shop, "circuit-detail", pk=first.pk), {"fed_from": second.pk})
    assert answer.status_code in (400, 409, 422)
    assert answer.data["field"] == "fed_from"
    assert "ring" in answer.data["detail"]


def test_a_feeding_circuit_is_not_deleted_and_a_free_one_is(shop, api):
    build = make_build(shop)
    first = make_circuit(shop, build, "C1")
    second = make_circuit(shop, build, "C2", fed_from=first)
    assert api.delete(url(shop, "circuit-detail", pk=first.pk)).status_code == 409
    assert as_role(shop, Role.AUDITOR).delete(url(shop, "circuit-detail", pk=second.pk)).status_code == 403
    assert api.delete(url(shop, "circuit-detail", pk=second.pk)).status_code == 204
    assert list(Circuit.objects.all()) == [first]


def test_a_build_is_copied_with_its_circuits(shop, api):
    build = make_build(shop)
    make_circuit(shop, build, "C1")
    answer = api.post(url(shop, "build-copy", pk=build.pk), {"label": "rev B", "dated": "2026-11-01"})
    assert answer.status_code == 201
    assert Circuit.objects.filter(build=answer.data["id"]).count() == 1
    again = api.post(url(shop, "build-copy", pk=build.pk), {"label": "rev B", "dated": "2026-11-01"})
    assert again.status_code == 400


def test_the_bill_says_what_lacks_and_what_is_not_told(shop, api):
    build = make_build(shop)
    make_circuit(shop, build, "C1", device_fitted=False, length_m=None)
    answer = api.get(url(shop, "build-bill", pk=build.pk))
    rows = {row["code"]: row for row in answer.data["rows"]}
    assert Decimal(rows["F30"]["lacking"]) == Decimal(rows["F30"]["short"]) == 1
    assert answer.data["rows"][0]["code"] == "F30"
    assert answer.data["gaps"] == [{"circuit_code": "C1", "missing": "length"}]


def test_an_event_takes_its_robots_and_tells_its_demand(shop, api):
    build = make_build(shop)
    make_circuit(shop, build, "C1", device_fitted=False)
    given = {
        "name": "Cup", "starts_on": "2027-03-01", "ends_on": "2027-03-02", "matches_planned": 8,
        "robots": [build.robot_id],
    }  # fmt: skip
    made = api.post(url(shop, "event-list"), given, format="json")
    assert made.status_code == 201
    assert made.data["robots"] == [build.robot_id]
    demand = api.get(url(shop, "event-demand", pk=made.data["id"])).data
    assert [(row["code"], row["short"], row["repairs"], row["order"]) for row in demand["rows"]] == [
        ("F30", "1.000", None, None)
    ]
    foreign = make_robot(make_workshop())
    answer = api.patch(url(shop, "event-detail", pk=made.data["id"]), {"robots": [foreign.pk]}, format="json")
    assert answer.status_code in (400, 409)
    assert list(Event.objects.get().robots.all()) == [build.robot]
    assert as_role(shop, Role.MEMBER).post(url(shop, "event-list"), given, format="json").status_code == 403


def test_an_outing_is_logged_once_and_mended_later(shop, api):
    battery = make_battery(shop.team, "B01")
    for _ in range(2):
        answer = api.post(url(shop, "outing-list"), {"battery": battery.pk, "start_rest_v": "12.9 V"})
        assert answer.status_code == 201
    made = Outing.objects.get()
    assert made.by == shop.scope.user
    other = make_battery(shop.team, "B02")
    answer = api.patch(url(shop, "outing-detail", pk=made.pk), {"end_rest_v": 12.4, "battery": other.pk})
    made.refresh_from_db()
    assert (answer.status_code, made.end_rest_v, made.battery) == (200, 12.4, battery)


def test_a_battery_out_of_service_needs_the_word_of_somebody(shop, api):
    battery = make_battery(shop.team, "B01", state=BatteryState.QUARANTINE, state_reason="swollen")
    refused = api.post(url(shop, "outing-list"), {"battery": battery.pk})
    assert refused.status_code >= 400
    assert "swollen" in refused.data["detail"]
    done = api.post(url(shop, "outing-list"), {"battery": battery.pk, "although_out_of_service": True})
    assert done.status_code == 201


def test_a_match_is_of_a_robot_that_goes(shop, api):
    event = make_event(shop, "Cup", timezone.localdate(), [])
    robot = make_robot(shop)
    given = {"event": event.pk, "robot": robot.pk, "number": "1", "starts_at": timezone.now().isoformat()}
    refused = api.post(url(shop, "match-list"), given)
    assert refused.status_code in (400, 409, 422)
    assert refused.data["field"] == "robot"
    event.robots.add(robot)
    assert api.post(url(shop, "match-list"), given).status_code == 201


@pytest.mark.parametrize(
    ("name", "query", "found"),
    [
        ("circuit", {"build": "own"}, 1),
        ("circuit", {"role": "main"}, 0),
        ("build", {"state": "current"}, 2),
        ("robot", {"archived": "true"}, 0),
        ("event", {"starts_on__gte": "2100-01-01"}, 0),
        ("outing", {"event": "own"}, 1),
        ("match", {"importance": "round"}, 2),
    ],
)
def test_lists_are_narrowed_down(shop, api, name, query, found):
    fill(shop, 0, 2)
    first = {"build": Circuit.objects.order_by("pk")[0].build_id, "event": Event.objects.order_by("pk")[0].pk}
    asked = {key: first[key] if value == "own" else value for key, value in query.items()}
    assert api.get(url(shop, f"{name}-list"), asked).data["count"] == found
