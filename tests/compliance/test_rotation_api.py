"""The rotation over the API, and the jobs behind it."""

from __future__ import annotations

from typing import Any

import pytest
from django.urls import reverse
from django.utils import timezone
from icalendar import Calendar
from rest_framework.test import APIClient

from builds.models import RotationPlan
from builds.services.events import match_save
from inventory.models import BatteryIncident
from inventory.services.incidents import incident_log
from shared import jobs
from shared.models import JobRun, Membership, Role
from shared.schedule import SWEEPS_AFTER
from tests.builds.pit_shop import Pit, make_pit

pytestmark = pytest.mark.django_db


@pytest.fixture
def pit() -> Pit:
    return make_pit(batteries=4, chargers=2, matches=4, now=timezone.now().replace(microsecond=0))


@pytest.fixture
def client(pit: Pit) -> APIClient:
    client = APIClient()
    client.force_authenticate(pit.scope.user)
    user = pit.scope.user
    assert user is not None
    Membership.objects.get_or_create(user=user, team=pit.scope.team, defaults={"role": Role.LEAD})
    return client


def url(pit: Pit, name: str) -> str:
    return reverse(f"api-rotation-{name}", kwargs={"team": pit.scope.team.slug, "pk": pit.event.pk})


def do_jobs(*names: str) -> list[str]:
    """Do what is queued, and tell what of these names was."""
    return [run.name for run in jobs.run_due(wait_for_debounce=True) if run.name in names]


def test_a_plan_is_asked_for_read_and_made_better(pit, client):
    none = client.get(url(pit, "plan"))
    assert none.status_code == 404
    assert "Ask for one with a post" in str(none.json())
    asked = client.post(url(pit, "plan"), {"why": "First thing in the morning"}, format="json")
    assert asked.status_code == 201
    body = asked.json()
    assert (body["state"], body["instant"], body["why"]) == ("working", True, "First thing in the morning")
    assert [step["number"] for step in body["steps"]] == ["1", "2", "3", "4"]
    assert do_jobs("rotation.plan") == ["rotation.plan"]
    body = client.get(url(pit, "plan")).json()
    assert (body["state"], body["proven"], body["instant"]) == ("ready", True, False)
    assert all(step["battery_code"] for step in body["steps"])


def test_nonsense_is_refused(pit, client):
    answer = client.post(url(pit, "plan"), {"why": "x" * 201}, format="json")
    assert answer.status_code == 400
    assert not RotationPlan.objects.exists()


def test_the_cart_the_next_match_and_the_review(pit, client):
    client.post(url(pit, "plan"))
    rows = client.get(url(pit, "cart")).json()
    assert [(row["battery_code"], row["state"], row["charge_frac"]) for row in rows] == [
        (battery.code, "ready", 1.0) for battery in pit.batteries
    ]
    told = client.get(url(pit, "next")).json()
    assert told["next"]["number"] == "1"
    assert told["next"]["do_now"].startswith("Put P0")
    assert 0 < told["next"]["minutes_to_swap"] < told["next"]["minutes_to_start"] <= 60
    review = client.get(url(pit, "review")).json()
    assert review["headline"] == "No outing was noted at this event."


def test_the_calendar_is_one(pit, client):
    client.post(url(pit, "plan"))
    answer = client.get(url(pit, "calendar"))
    assert answer["Content-Type"] == "text/calendar; charset=utf-8"
    assert len(Calendar.from_ical(answer.content).walk("VEVENT")) == 4


class TestByItself:
    """An edit of anything that matters makes a new plan, where there is one, and waits for nothing."""

    def test_what_sets_it_off(self):
        assert {label for label, names in SWEEPS_AFTER.items() if "rotation.look" in names} == {
            "inventory.Battery", "inventory.BatteryIncident", "inventory.CapacityTest", "inventory.Charge",
            "inventory.Charger", "inventory.Reading", "builds.Build", "builds.Circuit", "builds.Event",
            "builds.Handling", "builds.Match", "builds.Outing", "compliance.RulePack",
            "compliance.RuleSetting",
        }  # fmt: skip

    def test_a_match_moved_up(self, pit, client):
        client.post(url(pit, "plan"))
        do_jobs()
        match = pit.matches[2]
        match.starts_at = pit.at(160)
        match_save(scope=pit.scope, match=match)
        assert do_jobs("rotation.look", "rotation.plan") == ["rotation.look", "rotation.plan"]
        body = client.get(url(pit, "plan")).json()
        assert (body["reason"], body["state"], body["why"]) == (
            "times",
            "ready",
            "Match 3 is 20 min earlier.",
        )

    def test_a_battery_dropped(self, pit, client):
        client.post(url(pit, "plan"))
        do_jobs()
        incident_log(scope=pit.scope, battery=pit.batteries[0], kind=BatteryIncident.Kind.DROPPED)
        assert "rotation.plan" in do_jobs("rotation.plan")
        body = client.get(url(pit, "plan")).json()
        assert body["reason"] == "cart"
        assert body["why"] == "P01 must not go out as planned any more."
        assert "P01" not in {step["battery_code"] for step in body["steps"]}
        assert RotationPlan.objects.filter(current=True).count() == 1

    def test_without_a_plan_nothing_is_made(self, pit):
        match_save(scope=pit.scope, match=pit.matches[2])
        assert do_jobs("rotation.look", "rotation.plan") == ["rotation.look"]
        assert not RotationPlan.objects.exists()

    def test_an_edit_that_does_not_matter_makes_none(self, pit, client):
        client.post(url(pit, "plan"))
        do_jobs()
        match = pit.matches[2]
        match.carrier = "Ada"
        match_save(scope=pit.scope, match=match)
        assert do_jobs("rotation.look", "rotation.plan") == ["rotation.look"]
        assert RotationPlan.objects.count() == 1

    def test_the_clock_looks_at_events_that_are_on(self, pit, client):
        def done(name: str) -> Any:
            return jobs.run_now(name, trigger=JobRun.Trigger.SCHEDULE).counts

        assert done("rotation.all") == {"teams": 0}
        client.post(url(pit, "plan"))
        assert done("rotation.all") == {"teams": 1}
        assert do_jobs("rotation.look") == ["rotation.look"]
        assert JobRun.objects.get(name="rotation.look").counts == {"plans": 1, "anew": 0}

    def test_a_search_that_fails_is_told(self, pit, client, monkeypatch):
        client.post(url(pit, "plan"))

        def broken(*_: Any) -> Any:
            raise ValueError("no such luck")

        monkeypatch.setattr("builds.services.rotation.solve", broken)
        do_jobs()
        run = JobRun.objects.get(name="rotation.plan")
        assert (run.state, "no such luck" in run.error) == (JobRun.State.FAILED, True)
        body = client.get(url(pit, "plan")).json()
        assert body["state"] == "failed"
        assert all(step["battery_code"] for step in body["steps"]), "the first answer stands"
