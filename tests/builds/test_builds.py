"""Builds and circuits: current and past, copies, feeds that make a tree."""

from __future__ import annotations

from datetime import date

import pytest
from django.core.exceptions import ValidationError
from django.http import Http404
from hypothesis import given
from hypothesis import strategies as st

from builds.models import Build, BuildLine, Circuit
from builds.services.builds import build_copy, build_make_current
from builds.services.circuits import circuit_delete, circuit_save, feed_ring
from shared.errors import Conflict, DomainError, NotAllowed
from shared.models import JobRun, Role
from tests.builds.workshop import Workshop, make_build, make_circuit, make_robot, make_workshop

pytestmark = pytest.mark.django_db


@pytest.fixture
def shop() -> Workshop:
    return make_workshop()


def test_making_a_build_current_makes_the_other_one_past(shop):
    robot = make_robot(shop)
    old, new = make_build(shop, robot), make_build(shop, robot, "rev B", "draft")
    for _ in range(2):
        build_make_current(scope=shop.scope, build=new)
    assert dict(Build.objects.values_list("label", "state")) == {"rev A": "past", "rev B": "current"}
    assert [h.state for h in old.history.all()] == ["past", "current"]
    assert {run.name for run in JobRun.objects.all()} == {
        "match.team",
        "rotation.look",
        "sweep.loads",
        "sweep.stock",
    }


def test_other_robots_builds_are_left_alone(shop):
    other = make_build(shop)
    build_make_current(scope=shop.scope, build=make_build(shop, label="rev B", state="draft"))
    other.refresh_from_db()
    assert other.state == "current"


def test_a_copy_has_the_same_circuits_fed_from_its_own_copies(shop):
    old = make_build(shop)
    main = make_circuit(shop, old, "MAIN", role="main")
    board = make_circuit(shop, old, "BOARD", role="feed", fed_from=main)
    make_circuit(shop, old, "DRIVE", fed_from=board, wired=False)
    # The key of a feeder may be the higher one.
    late = make_circuit(shop, old, "LATE", fed_from=main)
    Circuit.objects.filter(pk=board.pk).update(fed_from=late)
    BuildLine.objects.create(
        team=shop.team, build=old, part=shop.motor, quantity=3, installed=1, note="spare"
    )
    new = build_copy(scope=shop.scope, build=old, label="rev B", dated=date(2026, 11, 1))
    feeds = {c.code: c.fed_from for c in Circuit.objects.filter(build=new).select_related("fed_from")}
    assert {code: feed and feed.code for code, feed in feeds.items()} == {
        "MAIN": None,
        "BOARD": "LATE",
        "DRIVE": "BOARD",
        "LATE": "MAIN",
    }
    assert all(feed is None or feed.build_id == new.pk for feed in feeds.values())
    assert Circuit.objects.get(build=new, code="DRIVE").wired is False
    line = BuildLine.objects.get(build=new)
    assert (int(line.quantity), int(line.installed), line.note) == (3, 1, "spare")
    assert (new.state, new.robot) == ("draft", old.robot)
    assert Circuit.objects.get(build=new, code="MAIN").history.get().history_user == shop.scope.user
    assert Circuit.objects.filter(build=old).count() == 4


@pytest.mark.parametrize("count", [2, 50])
def test_a_copy_takes_the_same_queries_however_many_circuits(shop, count, django_assert_max_num_queries):
    old = make_build(shop)
    main = make_circuit(shop, old, "MAIN")
    for i in range(count):
        make_circuit(shop, old, f"C{i}", fed_from=main)
    with django_assert_max_num_queries(52):
        build_copy(scope=shop.scope, build=old, label="rev B", dated=date(2026, 11, 1))
    assert Circuit.objects.count() == 2 * (count + 1)


def test_two_builds_of_a_robot_cannot_have_one_label(shop):
    old = make_build(shop)
    with pytest.raises(ValidationError):
        build_copy(scope=shop.scope, build=old, label=old.label, dated=date(2026, 11, 1))
    assert Build.objects.count() == 1


def test_a_stranger_finds_no_build_and_an_auditor_copies_none(shop):
    build = make_build(shop)
    with pytest.raises(Http404):
        build_copy(scope=make_workshop().scope, build=build, label="X", dated=date(2026, 11, 1))
    auditor = make_workshop(Role.AUDITOR)
    with pytest.raises(NotAllowed):
        build_make_current(scope=auditor.scope, build=make_build(auditor, state="draft"))


def test_circuits_that_would_feed_each_other_are_named_in_order(shop):
    build = make_build(shop)
    a = make_circuit(shop, build, "A")
    b = make_circuit(shop, build, "B", fed_from=a)
    c = make_circuit(shop, build, "C", fed_from=b)
    a.fed_from = c
    with pytest.raises(DomainError) as refused:
        circuit_save(scope=shop.scope, circuit=a)
    assert "A < C < B < A" in refused.value.sentence
    assert Circuit.objects.get(pk=a.pk).fed_from is None


def test_a_feed_comes_from_the_same_build(shop):
    foreign = make_circuit(shop, make_build(shop), "X")
    own = make_circuit(shop, make_build(shop), "A")
    own.fed_from = foreign
    with pytest.raises(DomainError, match="another build"):
        circuit_save(scope=shop.scope, circuit=own)


def test_a_new_circuit_is_saved_and_a_bad_figure_is_named(shop):
    build = make_build(shop)
    circuit = Circuit(team=shop.team, build=build, code="NEW", name="New", continuous_a=10, peak_a=5)
    with pytest.raises(ValidationError, match="peak current must not be below"):
        circuit_save(scope=shop.scope, circuit=circuit)
    circuit.peak_a = 20
    circuit_save(scope=shop.scope, circuit=circuit)
    assert Circuit.objects.get().history.get().history_user == shop.scope.user


def test_a_circuit_that_feeds_others_is_not_deleted(shop):
    build = make_build(shop)
    main = make_circuit(shop, build, "MAIN")
    branch = make_circuit(shop, build, "DRIVE", fed_from=main)
    with pytest.raises(Conflict, match="MAIN feeds DRIVE"):
        circuit_delete(scope=shop.scope, circuit=main)
    circuit_delete(scope=shop.scope, circuit=branch)
    circuit_delete(scope=shop.scope, circuit=main)
    assert not Circuit.objects.exists()
    assert Circuit.history.filter(history_type="-").count() == 2


@given(st.lists(st.integers(min_value=-1, max_value=11), min_size=1, max_size=12))
def test_a_ring_is_found_exactly_when_following_the_feeds_never_ends(feeds_list):
    feeds = {i: (None if f < 0 or f >= len(feeds_list) else f) for i, f in enumerate(feeds_list)}
    for start in feeds:
        here: int | None = start
        for _ in range(len(feeds) + 1):
            here = feeds[here] if here is not None else None
        ring = feed_ring(feeds, start)
        assert bool(ring) == (here is not None)
        assert all(feeds[a] == b for a, b in zip(ring, [*ring[1:], *ring[:1]], strict=True))
