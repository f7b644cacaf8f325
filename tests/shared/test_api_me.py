"""Who am I, and a token for scripts."""

from __future__ import annotations

import pytest

from shared.models import Membership, Role, User
from tests.inventory.stockroom import make_team

pytestmark = pytest.mark.django_db
PASSWORD = "four-plain-words-here"


@pytest.fixture
def ana():
    return User.objects.create_user(username="ana", password=PASSWORD, first_name="Ana")


def test_a_token_opens_the_api(client, ana):
    team = make_team()
    Membership.objects.create(team=team, user=ana, role=Role.LEAD)
    token = client.post("/api/v1/token/", {"username": "ana", "password": PASSWORD}).json()["token"]
    answer = client.get("/api/v1/me/", headers={"Authorization": f"Token {token}"})
    assert answer.json() == {
        "username": "ana",
        "name": "Ana",
        "teams": [{"team": team.slug, "name": team.name, "role": "lead"}],
    }


def test_a_wrong_password_gets_none(client, ana):
    answer = client.post("/api/v1/token/", {"username": "ana", "password": "guess"})
    assert answer.status_code == 400
    assert "token" not in answer.json()


def test_guessing_a_password_here_is_stopped_too(client, ana, settings):
    for number in range(settings.AXES_FAILURE_LIMIT):
        client.post("/api/v1/token/", {"username": "ana", "password": f"guess {number}"})
    answer = client.post("/api/v1/token/", {"username": "ana", "password": PASSWORD})
    assert "token" not in answer.content.decode()


def test_without_either_the_api_is_shut(client):
    assert client.get("/api/v1/me/").status_code in (401, 403)
