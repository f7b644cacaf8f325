"""Guessing a password is stopped: by name and address together, for a while, and for nobody else."""

from __future__ import annotations

from datetime import timedelta

import pytest
from axes.models import AccessAttempt
from django.conf import settings as project_settings
from django.contrib.auth.views import LoginView
from django.urls import path

from shared.models import User

urlpatterns = [path("login/", LoginView.as_view(), name="login"), path("", LoginView.as_view(), name="home")]
pytestmark = [pytest.mark.urls(__name__), pytest.mark.django_db]
PASSWORD = "four-plain-words-here"
TRIES = project_settings.AXES_FAILURE_LIMIT


@pytest.fixture
def people():
    return [User.objects.create_user(username=name, password=PASSWORD) for name in ("ana", "ben")]


def sign_in(client, name: str, password: str = PASSWORD, address: str = "192.0.2.7"):
    return client.post("/login/", {"username": name, "password": password}, REMOTE_ADDR=address)


@pytest.fixture
def locked(client, people):
    answers = [sign_in(client, "ana", f"guess {number}") for number in range(TRIES)]
    assert [answer.status_code for answer in answers[:-1]] == [200] * (TRIES - 1)
    return answers[-1]


def test_the_right_password_signs_in(client, people):
    assert sign_in(client, "ana").status_code == 302


def test_one_try_too_many_is_told_how_it_ends(locked):
    assert locked.status_code == 429
    assert "works again after 15 minutes" in locked.content.decode()
    assert timedelta(minutes=15) == project_settings.AXES_COOLOFF_TIME


def test_then_even_the_right_password_waits(client, locked):
    assert sign_in(client, "ana").status_code == 429


def test_the_others_in_the_pit_and_the_same_person_elsewhere_are_let_in(client, locked):
    assert sign_in(client, "ben").status_code == 302
    assert sign_in(client, "ana", address="192.0.2.8").status_code == 302


def test_the_lock_lifts_by_itself(client, locked):
    attempt = AccessAttempt.objects.get(username="ana")
    attempt.attempt_time -= timedelta(minutes=16)
    attempt.save()
    assert sign_in(client, "ana").status_code == 302


def test_a_good_sign_in_forgets_the_failures_before_it(client, people):
    for _ in range(2):
        for number in range(TRIES - 1):
            sign_in(client, "ana", f"guess {number}")
        assert sign_in(client, "ana").status_code == 302
