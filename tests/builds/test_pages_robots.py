"""Robots, builds, circuits and bills as they are entered on pages."""

from __future__ import annotations

from datetime import date
from decimal import Decimal

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from builds.models import Build, BuildLine, BuildState, Circuit, Robot, Season
from inventory.models import Bin
from inventory.services.ledger import stock_receive
from shared.access import system_scope
from shared.models import Role
from tests.builds.workshop import make_build, make_circuit, make_robot, make_workshop
from tests.inventory.stockroom import make_part, make_scope

pytestmark = pytest.mark.django_db
CIRCUIT = {"code": "C9", "name": "Arm", "role": "branch", "parallel": "1", "bundle_count": "2"}


@pytest.fixture
def shop(client):
    made = make_workshop(Role.LEAD)
    client.force_login(made.scope.user)
    return made


def act_as(client, shop, role):
    client.force_login(make_scope(shop.team, role).user)


def url(shop, name, **kwargs):
    return reverse(name, kwargs={"team": shop.team.slug, **kwargs})


def test_a_robot_is_entered_in_the_season_that_is_on(client, shop):
    page = client.get(url(shop, "robot-new"))
    assert page.context["form"]["season"].value() == shop.season.pk
    given = {"code": "heron", "name": "Heron", "season": shop.season.pk}
    answer = client.post(url(shop, "robot-new"), given)
    robot = Robot.objects.get(code="heron")
    assert answer.url == url(shop, "robot-detail", pk=robot.pk)
    assert robot.history.get().history_user == shop.scope.user


def test_a_code_is_given_once_in_a_team(client, shop):
    make_robot(shop, "heron")
    answer = client.post(url(shop, "robot-new"), {"code": "heron", "name": "Other", "season": shop.season.pk})
    assert answer.status_code == 422
    assert Robot.objects.count() == 1
    assert "already exists" in answer.content.decode()


def test_without_a_season_the_robot_form_says_where_to_start(client, shop):
    Season.objects.all().delete()
    assert url(shop, "season-new") in client.get(url(shop, "robot-new")).content.decode()


def test_seasons_are_for_the_lead(client, shop):
    given = {"name": "Next", "starts_on": "2028-01-01", "ends_on": "2028-12-31", "match_s": "150"}
    assert client.post(url(shop, "season-new"), given).status_code == 302
    backwards = client.post(url(shop, "season-new"), {**given, "name": "B", "ends_on": "2027-01-01"})
    assert backwards.status_code == 422
    assert "A season cannot end before it starts." in backwards.content.decode()
    act_as(client, shop, Role.MEMBER)
    assert client.get(url(shop, "season-new")).status_code == 403
    assert client.post(url(shop, "season-new"), {**given, "name": "C"}).status_code == 403


def test_a_season_says_how_long_a_match_lasts(client, shop):
    page = url(shop, "season-edit", pk=shop.season.pk)
    given = {"name": "This season", "starts_on": "2026-01-01", "ends_on": "2027-12-31"}
    assert client.get(page).context["form"]["match_s"].value() == "150"
    for wrong in ("5", "1000"):
        refused = client.post(page, {**given, "match_s": wrong})
        assert refused.status_code == 422
        assert refused.context["form"].errors == {
            "match_s": ["The length of a match lies between 10 and 900 s."]
        }
    assert client.post(page, {**given, "match_s": "3 min"}).status_code == 302
    shop.season.refresh_from_db()
    assert shop.season.match_s == 180.0
    assert client.post(page, {**given, "match_s": "900"}).status_code == 302
    shop.season.refresh_from_db()
    assert shop.season.match_s == 900.0


def test_archiving_is_undone_by_the_same_button(client, shop):
    robot = make_robot(shop)
    for expected in (True, False):
        client.post(url(shop, "robot-archive", pk=robot.pk))
        robot.refresh_from_db()
        assert robot.archived is expected


def test_a_build_takes_quantities_as_people_type_them(client, shop):
    robot = make_robot(shop)
    given = {"label": "rev B", "dated": "2026-10-01", "ambient_c": "35", "source_mohm": "0.021 ohm"}
    answer = client.post(url(shop, "build-new", pk=robot.pk), given)
    build = robot.builds.get()
    assert answer.url == url(shop, "build-detail", pk=build.pk)
    assert build.source_mohm == pytest.approx(21)
    assert (build.ambient_c, build.state) == (35, BuildState.DRAFT)
    hot = client.post(url(shop, "build-edit", pk=build.pk), {**given, "ambient_c": "120"})
    assert hot.status_code == 422
    assert "between -40 and 90" in hot.content.decode()


def test_a_copy_is_a_draft_and_can_be_made_current(client, shop):
    build = make_build(shop)
    make_circuit(shop, build, "C1")
    page = url(shop, "build-copy", pk=build.pk)
    assert client.get(page).status_code == 200
    assert client.post(page, {"label": build.label, "dated": "2026-10-01"}).status_code == 422
    client.post(page, {"label": "rev B", "dated": "2026-10-01"})
    made = Build.objects.get(label="rev B")
    assert (made.state, made.dated, made.circuits.count()) == (BuildState.DRAFT, date(2026, 10, 1), 1)
    client.post(url(shop, "build-current", pk=made.pk))
    build.refresh_from_db()
    made.refresh_from_db()
    assert (build.state, made.state) == (BuildState.PAST, BuildState.CURRENT)


def test_a_circuit_is_entered_with_units_and_fed_from_its_own_build(client, shop):
    build, other = make_build(shop), make_build(shop)
    main, foreign = make_circuit(shop, build, "MAIN"), make_circuit(shop, other, "FAR")
    page = url(shop, "circuit-new", pk=build.pk)
    feeders = client.get(page).context["form"].fields["fed_from"].queryset
    assert [c.code for c in feeders] == ["MAIN"]
    given = {**CIRCUIT, "fed_from": main.pk, "wire": shop.wire.pk, "length_m": "3 ft", "continuous_a": "12"}
    answer = client.post(page, given)
    circuit = Circuit.objects.get(code="C9")
    assert answer.url == url(shop, "circuit-detail", pk=circuit.pk)
    assert circuit.length_m == pytest.approx(0.9144)  # 1 ft = 0.3048 m exactly, NIST SP 811 table B.8
    assert client.post(page, {**given, "code": "C10", "fed_from": foreign.pk}).status_code == 422


def test_a_wrong_circuit_is_told_beside_the_field(client, shop):
    build = make_build(shop)
    make_circuit(shop, build, "C9")
    page = url(shop, "circuit-new", pk=build.pk)
    assert client.post(page, {**CIRCUIT, "length_m": "far"}).context["form"].errors.keys() == {"length_m"}
    assert client.post(page, CIRCUIT).status_code == 422  # the code is taken in this build
    low = client.post(page, {**CIRCUIT, "code": "C10", "continuous_a": "20", "peak_a": "10"})
    assert "must not be below the running current" in low.content.decode()
    assert Circuit.objects.count() == 1


def test_feeding_in_a_ring_is_refused_in_words(client, shop):
    build = make_build(shop)
    first = make_circuit(shop, build, "C1")
    second = make_circuit(shop, build, "C2", fed_from=first)
    answer = client.post(url(shop, "circuit-edit", pk=first.pk), {**CIRCUIT, "fed_from": second.pk})
    assert answer.status_code == 422
    assert "in a ring" in str(answer.context["form"].errors["fed_from"])


def test_a_circuit_that_feeds_others_stays(client, shop):
    build = make_build(shop)
    first = make_circuit(shop, build, "C1")
    make_circuit(shop, build, "C2", fed_from=first)
    page = url(shop, "circuit-delete", pk=first.pk)
    assert "Delete circuit C1" in client.get(page).content.decode()
    refused = client.post(page)
    assert refused.status_code == 409
    assert "C1 feeds C2" in refused.content.decode()
    assert client.post(url(shop, "circuit-delete", pk=build.circuits.get(code="C2").pk)).status_code == 302
    assert client.post(page).url == url(shop, "build-detail", pk=build.pk)
    assert not build.circuits.exists()


def test_the_bill_says_what_is_short(client, shop):
    build = make_build(shop)
    make_circuit(shop, build, "C1", device_fitted=False)
    make_circuit(shop, build, "C2", length_m=None)
    answer = client.get(url(shop, "bill", pk=build.pk))
    text = answer.content.decode()
    assert "lacks 1 part, 1 of them short in the stores" in text
    assert "C2 tells no length" in text
    short = client.get(url(shop, "bill", pk=build.pk), {"only": "short"})
    assert [row.part.code for row in short.context["rows"]] == ["F30"]
    bin_ = Bin.objects.create(team=shop.team, code="A1", name="Shelf")
    stock_receive(scope=system_scope(shop.team), part=shop.fuse, bin=bin_, quantity=Decimal(4))
    assert "all of it lies in the stores" in client.get(url(shop, "bill", pk=build.pk)).content.decode()


def test_an_empty_bill_says_where_to_start(client, shop):
    build = make_build(shop)
    text = client.get(url(shop, "bill", pk=build.pk)).content.decode()
    assert "The bill is empty." in text
    assert url(shop, "circuit-new", pk=build.pk) in text


def test_further_parts_are_entered_changed_and_taken_off(client, shop):
    build, tie = make_build(shop), make_part(shop.team, "TIE")
    page = url(shop, "line-new", pk=build.pk)
    assert client.post(page, {"part": tie.pk, "quantity": "2", "installed": "3"}).status_code == 422
    client.post(page, {"part": tie.pk, "quantity": "20", "installed": "0"})
    line = BuildLine.objects.get()
    client.post(url(shop, "line-edit", pk=line.pk), {"part": tie.pk, "quantity": "20", "installed": "5"})
    line.refresh_from_db()
    assert line.installed == 5
    assert client.get(url(shop, "line-delete", pk=line.pk)).status_code == 200
    client.post(url(shop, "line-delete", pk=line.pk))
    assert not BuildLine.objects.exists()


@pytest.mark.parametrize("name", ["circuit-new", "build-edit", "build-copy", "line-new"])
def test_an_auditor_reads_and_never_writes(client, shop, name):
    build = make_build(shop)
    act_as(client, shop, Role.AUDITOR)
    assert client.get(url(shop, name, pk=build.pk)).status_code == 403
    assert client.post(url(shop, name, pk=build.pk), CIRCUIT).status_code == 403
    assert client.get(url(shop, "bill", pk=build.pk)).status_code == 200


def test_a_long_bill_takes_no_more_queries(client, shop):
    build = make_build(shop)

    def queries():
        with CaptureQueriesContext(connection) as asked:
            assert client.get(url(shop, "bill", pk=build.pk)).status_code == 200
        return len(asked)

    def grow(first, last):
        for n in range(first, last):
            make_circuit(shop, build, f"C{n}")
            part = make_part(shop.team, f"P{n}")
            BuildLine.objects.create(team=shop.team, build=build, part=part, quantity=2)

    grow(0, 2)
    client.get(url(shop, "bill", pk=build.pk))
    two = queries()
    grow(2, 50)
    assert queries() == two
