"""The front door: signing in, choosing a team, and what a stranger sees."""

from __future__ import annotations

import pytest
from django.db import connection
from django.db.utils import OperationalError
from django.urls import reverse

from shared.models import Membership, Role, User
from tests.inventory.stockroom import make_scope, make_team

pytestmark = pytest.mark.django_db
PASSWORD = "four-plain-words-here"


@pytest.fixture
def ana():
    return User.objects.create_user(username="ana", password=PASSWORD)


def test_signing_in_leads_to_the_only_team(client, ana):
    team = make_team()
    Membership.objects.create(team=team, user=ana, role=Role.MEMBER)
    answer = client.post(reverse("login"), {"username": "ana", "password": PASSWORD}, follow=True)
    assert answer.redirect_chain[-1][0] == f"/t/{team.slug}/"
    assert answer.status_code == 200


def test_with_several_teams_one_is_asked(client, ana):
    teams = [make_team(), make_team()]
    for team in teams:
        Membership.objects.create(team=team, user=ana, role=Role.MENTOR)
    client.force_login(ana)
    text = client.get("/").content.decode()
    assert all(f'href="/t/{team.slug}/"' in text for team in teams)


def test_without_a_team_the_page_says_what_to_do(client, ana):
    client.force_login(ana)
    text = client.get("/").content.decode()
    assert "You belong to no team yet." in text
    assert "ana" in text


def test_a_stranger_is_sent_to_sign_in_and_an_outsider_finds_nothing(client):
    team, other = make_team(), make_scope(make_team())
    page = reverse("team-home", kwargs={"team": team.slug})
    assert client.get(page).headers["Location"] == f"{reverse('login')}?next={page}"
    client.force_login(other.user)
    assert client.get(page).status_code == 404


def test_signing_out_ends_it(client):
    scope = make_scope(make_team())
    client.force_login(scope.user)
    assert client.post(reverse("logout")).status_code == 302
    assert client.get(reverse("team-home", kwargs={"team": scope.team.slug})).status_code == 302


def test_the_password_can_be_changed(client, ana):
    client.force_login(ana)
    new = "five-plain-words-go-here"
    answer = client.post(
        reverse("password_change"),
        {"old_password": PASSWORD, "new_password1": new, "new_password2": new},
        follow=True,
    )
    assert answer.status_code == 200
    ana.refresh_from_db()
    assert ana.check_password(new)


def test_health_says_whether_the_database_answers(client, monkeypatch):
    assert client.get("/healthz").json() == {"status": "ok"}

    def away() -> None:
        raise OperationalError("away")

    monkeypatch.setattr(connection, "cursor", away)
    assert client.get("/healthz").status_code == 503
