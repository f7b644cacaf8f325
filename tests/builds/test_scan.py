"""From what a reader sends or a person types to the one thing it means."""

from __future__ import annotations

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from builds.models import Robot
from builds.selectors.scan import NothingFound, SeveralFound, find, things
from inventory.models import Battery, Bin
from shared.errors import DomainError
from shared.labels.codes import Kind
from shared.models import Role
from tests.builds.workshop import make_robot, make_workshop
from tests.inventory.pages import make_battery
from tests.inventory.stockroom import make_scope, make_team

pytestmark = pytest.mark.django_db


@pytest.fixture
def shop():
    made = make_workshop(Role.MEMBER)
    make_battery(made.scope, "GP-07")
    make_battery(made.scope, "GP-01")
    make_battery(made.scope, "GP-12")
    Bin.objects.create(team=made.team, code="A1", name="Top shelf")
    make_robot(made, "heron")
    return made


@pytest.mark.parametrize(
    "text",
    [
        "B:GP-07:D",
        "b:gp-07:d",
        " B:GP-07:D\n",
        "B:GP-07",
        "GP-07",
        "gp07",
        "GP-07:D",
        "BGP07D",
        "BÖGPß07ÖD",  # a reader set to the keyboard of another country
        "B;GP/07;D",
        "GP07D",
    ],
)
def test_a_battery_is_found_by_its_label_and_by_parts_of_it(shop, text):
    found = find(shop.scope, text)
    battery = Battery.objects.get(code="GP-07")
    assert (found.kind, found.pk) == (Kind.BATTERY, battery.pk)
    assert found.url == reverse("battery-detail", kwargs={"team": shop.team.slug, "pk": battery.pk})


def test_every_kind_is_found_by_its_label(shop):
    for thing in things(shop.scope):
        assert find(shop.scope, thing.label) == thing
        assert find(shop.scope, thing.code) == thing
    assert {thing.kind for thing in things(shop.scope)} >= {Kind.BATTERY, Kind.BIN, Kind.ROBOT}


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("B:GP-07:K", "the label of battery GP-07 ends in D, not K"),
        ("GP-07:K", "ends in D, not K"),
        ("B:GP-07:", "ends in D, not nothing"),
    ],
)
def test_a_wrong_check_character_is_named(shop, text, says):
    with pytest.raises(DomainError, match=says) as refused:
        find(shop.scope, text)
    assert refused.value.field == "code"


def test_a_slip_of_the_eye_names_the_label_it_may_be(shop):
    right = next(t for t in things(shop.scope) if t.code == "GP-01").check
    with pytest.raises(DomainError, match=f"Or is it B:GP-01:{right}"):
        find(shop.scope, f"B:GP-07:{right}")
    right = next(t for t in things(shop.scope) if t.code == "GP-12").check
    with pytest.raises(NothingFound, match=f"Or is it B:GP-12:{right}"):
        find(shop.scope, f"B:GP-21:{right}")


def test_what_fits_several_things_lists_them(shop):
    Bin.objects.create(team=shop.team, code="GP-07")
    with pytest.raises(SeveralFound, match=r"battery GP-07 \(B:GP-07:D\); bin GP-07 \(N:GP-07:") as refused:
        find(shop.scope, "gp-07")
    assert [thing.kind for thing in refused.value.things] == [Kind.BATTERY, Kind.BIN]
    assert find(shop.scope, "N:GP-07").kind == Kind.BIN


def test_codes_that_differ_in_case_only_are_both_listed(shop):
    make_battery(shop.scope, "gp-07")
    with pytest.raises(SeveralFound):
        find(shop.scope, "B:GP-07:D")


def test_the_code_as_written_goes_before_a_code_read_with_its_letter(shop):
    """B01 may be battery B01, or battery 01 with its letter."""
    make_battery(shop.scope, "01")
    assert find(shop.scope, "B01").code == "01"
    make_battery(shop.scope, "B01")
    assert find(shop.scope, "B01").code == "B01"


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", "No code was given"),
        ("  ", "No code was given"),
        ("::", "is not a code"),
        ("x" * 300, "is not a code"),
        ("GP-99", "This team has no battery, spool, bin or robot GP-99"),
        ("S:GP-07", "This team has no spool GP-07"),
        ("GP-02", r"Did you mean battery GP-07 or battery GP-01|Did you mean battery GP-01"),
    ],
)
def test_what_is_not_found_is_said(shop, text, says):
    with pytest.raises(DomainError, match=says):
        find(shop.scope, text)


def test_another_teams_things_are_not_found(shop):
    other = make_scope(make_team("other"), Role.MENTOR)
    with pytest.raises(NothingFound):
        find(other, "B:GP-07:D")


def test_an_archived_thing_is_found_and_says_so(shop):
    Robot.objects.update(archived=True)
    assert find(shop.scope, "heron").archived
    assert not [t for t in things(shop.scope, archived=False) if t.kind == Kind.ROBOT]


def test_one_query_per_kind(shop):
    with CaptureQueriesContext(connection) as caught:
        find(shop.scope, "GP-07")
    assert len(caught) == 4
    with CaptureQueriesContext(connection) as caught:
        find(shop.scope, "B:GP-07:D")
    assert len(caught) == 1
