"""Robots, builds and circuits as the checks see them: pages say what flags and margins say."""

from __future__ import annotations

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from builds.models import BuildState, Season
from shared.models import Role
from tests.builds.workshop import make_build, make_circuit, make_event, make_robot, make_workshop
from tests.compliance.flagged import make_flag, make_waiver
from tests.compliance.load_shop import LoadShop
from tests.inventory.stockroom import make_scope

pytestmark = pytest.mark.django_db


@pytest.fixture
def shop(client):
    made = make_workshop(Role.LEAD)
    client.force_login(made.scope.user)
    return made


@pytest.fixture
def loads(client):
    made = LoadShop()
    client.force_login(made.shop.scope.user)
    return made


def url(shop, name, **kwargs):
    return reverse(name, kwargs={"team": shop.team.slug, **kwargs})


def flag_on(shop, circuit, severity, **values):
    where = {"sweep": "loads", "rule_code": "wire-ampacity", "subject_kind": "circuit"}
    return make_flag(shop.team, severity=severity, subject_id=circuit.pk, **{**where, **values})


def queries(client, where):
    with CaptureQueriesContext(connection) as asked:
        assert client.get(where).status_code == 200
    return len(asked)


def test_a_robot_shows_its_circuits_worst_severity_and_open_flags(client, shop):
    build = make_build(shop)
    first, second = make_circuit(shop, build, "C1"), make_circuit(shop, build, "C2")
    flag_on(shop, first, "watch")
    flag_on(shop, second, "fix")
    make_waiver(flag_on(shop, first, "stop", rule_code="device-rating"))
    bare = make_robot(shop)
    rows = {row.robot: row for row in client.get(url(shop, "robot-list")).context["rows"]}
    row = rows[build.robot]
    assert (row.current, row.circuits, row.flags, row.worst) == (build, 2, 2, "fix")
    assert (rows[bare].current, rows[bare].worst) == (None, "")


def test_robots_are_grouped_by_season_and_narrowed_down(client, shop):
    old = Season.objects.create(
        team=shop.team, name="Last season", starts_on="2025-01-01", ends_on="2025-12-31"
    )
    now, then, gone = make_robot(shop), make_robot(shop), make_robot(shop)
    then.season = old
    then.save()
    gone.archived = True
    gone.save()
    page = url(shop, "robot-list")
    assert [season.name for season, _ in client.get(page).context["seasons"]] == [
        "This season",
        "Last season",
    ]
    assert [r.robot for r in client.get(page, {"season": old.pk}).context["rows"]] == [then]
    assert [r.robot for r in client.get(page, {"archived": "yes"}).context["rows"]] == [gone]
    assert now in [r.robot for r in client.get(page).context["rows"]]


def test_without_robots_the_list_says_where_to_start(client, shop):
    text = client.get(url(shop, "robot-list")).content.decode()
    assert "No robot has been entered." in text
    assert url(shop, "workbook") in text


def test_a_robot_page_shows_builds_and_events(client, shop):
    build = make_build(shop)
    draft = make_build(shop, build.robot, "rev B", BuildState.DRAFT)
    make_event(shop, "Estuary Open", build.dated, [build.robot])
    text = client.get(url(shop, "robot-detail", pk=build.robot_id)).content.decode()
    assert "Its current build is" in text
    assert url(shop, "build-current", pk=draft.pk) in text
    assert url(shop, "build-current", pk=build.pk) not in text
    assert "Estuary Open" in text


def test_a_build_puts_the_circuit_that_fails_first(client, loads):
    loads.circuit("GOOD")
    thin = loads.circuit("THIN", wire=loads.wire("20 AWG"))
    answer = client.get(url(loads.shop, "build-detail", pk=loads.build.pk))
    margins = answer.context["margins"]
    assert margins[0].circuit == thin
    assert margins[0].state in ("stop", "fix")
    assert "need a look" in answer.content.decode()
    assert answer.context["chart"].bars[0].label.startswith("THIN ")
    only = client.get(url(loads.shop, "build-detail", pk=loads.build.pk), {"state": margins[0].state})
    assert [m.circuit for m in only.context["margins"]] == [thin]


def test_a_build_without_circuits_says_where_to_start(client, shop):
    build = make_build(shop)
    page = url(shop, "build-detail", pk=build.pk)
    assert url(shop, "circuit-new", pk=build.pk) in client.get(page).content.decode()
    client.force_login(make_scope(shop.team, Role.AUDITOR).user)
    assert url(shop, "circuit-new", pk=build.pk) not in client.get(page).content.decode()


def test_a_draft_says_that_it_is_not_flagged_and_can_be_made_current(client, shop):
    draft = make_build(shop, label="rev B", state=BuildState.DRAFT)
    make_circuit(shop, draft, "C1")
    text = client.get(url(shop, "build-detail", pk=draft.pk)).content.decode()
    assert "Only a current build is flagged" in text
    assert url(shop, "build-current", pk=draft.pk) in text


def test_a_circuit_shows_every_working_passed_ones_too(client, loads):
    thin = loads.circuit("THIN", wire=loads.wire("20 AWG"))
    flag = flag_on(loads.shop, thin, "stop", message="Too thin by far.")
    answer = client.get(url(loads.shop, "circuit-detail", pk=thin.pk))
    failing = {check.rule.code for check in answer.context["failing"]}
    passed = {check.rule.code for check in answer.context["passed"]}
    assert "wire-ampacity" in failing
    assert passed
    assert not failing & passed
    text = answer.content.decode()
    assert flag.message in text
    assert "A fault current melts wire" in text
    assert "A crimp that looks good" in text


def test_members_enter_and_auditors_only_read(client, loads):
    circuit = loads.circuit("C1")
    page = url(loads.shop, "circuit-detail", pk=circuit.pk)
    edit = url(loads.shop, "circuit-edit", pk=circuit.pk)
    for role, offered in ((Role.MEMBER, True), (Role.AUDITOR, False)):
        client.force_login(make_scope(loads.shop.team, role).user)
        answer = client.get(page)
        assert answer.status_code == 200
        assert (edit in answer.content.decode()) is offered


def test_more_rows_take_no_more_queries(client, shop):
    robot = make_robot(shop)
    build = make_build(shop, robot)
    make_circuit(shop, build, "FIRST")

    def grow(first, last):
        for n in range(first, last):
            other = make_build(shop)
            flag_on(shop, make_circuit(shop, other, "C1"), "fix")
            make_circuit(shop, build, f"C{n}")
            make_build(shop, robot, f"rev {n}", BuildState.PAST)

    grow(0, 2)
    pages = [
        url(shop, "robot-list"),
        url(shop, "robot-detail", pk=robot.pk),
        url(shop, "build-detail", pk=build.pk),
        url(shop, "circuit-detail", pk=build.circuits.get(code="FIRST").pk),
    ]
    for page in pages:
        client.get(page)
    two = [queries(client, page) for page in pages]
    grow(2, 50)
    assert [queries(client, page) for page in pages] == two
