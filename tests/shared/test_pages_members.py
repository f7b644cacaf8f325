"""Members: a mentor adds people and sets roles; a team keeps a mentor."""

from __future__ import annotations

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from shared.models import Membership, Role, User
from tests.inventory.stockroom import make_scope, make_team

pytestmark = pytest.mark.django_db


@pytest.fixture
def mentor(client):
    scope = make_scope(make_team(), Role.MENTOR)
    client.force_login(scope.user)
    return scope


def add(client, scope, **values: str):
    return client.post(reverse("member-list", kwargs={"team": scope.team.slug}), {"role": "member", **values})


def change(client, scope, member, **values: str):
    return client.post(reverse("member-edit", kwargs={"team": scope.team.slug, "pk": member.pk}), values)


def test_somebody_with_a_sign_in_is_added_by_its_name(client, mentor):
    other = User.objects.create_user(username="ben")
    assert add(client, mentor, username="ben", role="lead").status_code == 302
    assert Membership.objects.get(user=other, team=mentor.team).role == Role.LEAD


def test_a_new_name_needs_a_good_password(client, mentor):
    answer = add(client, mentor, username="cleo")
    assert answer.status_code == 422
    assert "Nobody signs in as cleo" in answer.content.decode()
    assert add(client, mentor, username="cleo", password="12345").status_code == 422
    assert not User.objects.filter(username="cleo").exists()
    made = add(client, mentor, username="cleo", full_name="Cleo Ash", password="four-plain-words-here")
    assert made.status_code == 302
    cleo = User.objects.get(username="cleo")
    assert cleo.display_name == "Cleo Ash"
    assert cleo.check_password("four-plain-words-here")


def test_nobody_is_added_twice(client, mentor):
    answer = add(client, mentor, username=mentor.user.username)
    assert answer.status_code == 422
    assert "belongs to the team already" in answer.content.decode()


def test_a_password_never_changes_that_of_an_existing_person(client, mentor):
    ben = User.objects.create_user(username="ben", password="four-plain-words-here")
    add(client, mentor, username="ben", password="five-other-words-go-here")
    ben.refresh_from_db()
    assert ben.check_password("four-plain-words-here")


def test_roles_change_and_people_leave_with_history(client, mentor):
    member = Membership.objects.get(user=make_scope(mentor.team).user)
    change(client, mentor, member, role="auditor")
    member.refresh_from_db()
    assert member.role == Role.AUDITOR
    change(client, mentor, member, remove="yes")
    assert not Membership.objects.filter(pk=member.pk).exists()
    kept = Membership.history.filter(id=member.pk).order_by("history_id")
    assert [(row.history_type, row.role) for row in kept][-2:] == [("~", "auditor"), ("-", "auditor")]
    assert {row.history_user for row in kept[1:]} == {mentor.user}


@pytest.mark.parametrize("values", [{"role": "member"}, {"remove": "yes"}])
def test_the_only_mentor_stays(client, mentor, values):
    own = Membership.objects.get(user=mentor.user)
    answer = change(client, mentor, own, **values)
    assert answer.status_code == 409
    own.refresh_from_db()
    assert own.role == Role.MENTOR


def test_an_unknown_role_is_refused(client, mentor):
    member = Membership.objects.get(user=make_scope(mentor.team).user)
    assert change(client, mentor, member, role="king").status_code == 400


@pytest.mark.parametrize("role", [Role.MEMBER, Role.LEAD, Role.AUDITOR])
def test_others_look_but_change_nothing(client, mentor, role):
    scope = make_scope(mentor.team, role)
    client.force_login(scope.user)
    text = client.get(reverse("member-list", kwargs={"team": scope.team.slug})).content.decode()
    assert mentor.user.username in text
    assert "Add somebody" not in text
    assert add(client, scope, username="ben").status_code == 403


def test_the_number_of_queries_does_not_grow_with_the_people(client, mentor):
    counts = []
    for number in (2, 48):
        for _ in range(number):
            make_scope(mentor.team)
        with CaptureQueriesContext(connection) as queries:
            client.get(reverse("member-list", kwargs={"team": mentor.team.slug}))
        counts.append(len(queries))
    assert counts[0] == counts[1]
