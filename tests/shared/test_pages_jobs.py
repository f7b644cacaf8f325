"""Jobs page: when each last went well, what ran, and a run on request."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.core.cache import cache
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from shared.models import JobRun, Role, Team
from tests.inventory.stockroom import make_scope, make_team

pytestmark = pytest.mark.django_db


@pytest.fixture
def lead(client):
    scope = make_scope(make_team(), Role.LEAD)
    client.force_login(scope.user)
    return scope


HTMX = {"HX-Request": "true"}


def run_of(scope, name="sweep.stock", state="done", minutes=5, **values):
    then = timezone.now() - timedelta(minutes=minutes)
    times = {"started_at": then, "finished_at": then + timedelta(seconds=2)} if state == "done" else {}
    return JobRun.objects.create(
        **{
            "name": name, "team": scope.team if scope else None, "dedupe_key": f"{name}|{minutes}",
            "state": state, "trigger": "edit", "asked_at": then, "not_before": then, **times, **values,
        }
    )  # fmt: skip


def page(client, scope):
    return client.get(reverse("job-list", kwargs={"team": scope.team.slug}))


def test_the_last_good_run_is_named_past_a_failed_one(client, lead):
    good = run_of(lead, minutes=9, counts={"parts": 60})
    bad = run_of(lead, state="failed", minutes=1, error="ValueError: no such thing")
    answer = page(client, lead)
    state = next(s for s in answer.context["states"] if s.name == "sweep.stock")
    assert (state.last_good, state.last) == (good, bad)
    text = answer.content.decode()
    assert "ValueError: no such thing" in text
    assert 'parts <span class="fig">60</span>' in text


def test_a_run_over_every_team_did_this_job_too(client, lead):
    run_of(lead, minutes=9)
    everyone = run_of(None, name="sweep.all", minutes=2)
    states = {state.name: state for state in page(client, lead).context["states"]}
    assert states["sweep.stock"].last_good == everyone
    own = run_of(lead, minutes=1)
    states = {state.name: state for state in page(client, lead).context["states"]}
    assert (states["sweep.stock"].last_good, states["sweep.all"].last_good) == (own, everyone)


def test_runs_of_other_teams_are_not_shown(client, lead):
    run_of(make_scope(make_team()), error="theirs", state="failed")
    everyone = run_of(None, name="sweep.all", minutes=2)
    answer = page(client, lead)
    assert "theirs" not in answer.content.decode()
    assert list(answer.context["runs"]) == [everyone]


def test_a_late_job_is_said_on_top(client, lead):
    Team.objects.update(created_at=timezone.now() - timedelta(days=3))
    cache.clear()
    assert "Background checks are late" in page(client, lead).content.decode()
    cache.clear()
    run_of(None, name="sweep.all", minutes=1)
    assert "Background checks run on time." in page(client, lead).content.decode()
    cache.clear()


def test_a_run_on_request_is_queued_once(client, lead):
    ask = reverse("job-run", kwargs={"team": lead.team.slug})
    for _ in range(2):
        assert client.post(ask, {"name": "sweep.stock"}).status_code == 302
    run = JobRun.objects.get()
    assert (run.team, run.trigger, run.asked_by) == (lead.team, JobRun.Trigger.PERSON, lead.user)
    client.post(ask)
    assert set(JobRun.objects.values_list("name", flat=True)) == {
        "sweep.stock", "sweep.loads", "sweep.batteries", "match.team", "rotation.look"}  # fmt: skip


@pytest.mark.parametrize("name", ["sweep.all", "rm -rf"])
def test_what_is_not_a_teams_to_ask_for_is_refused(client, lead, name):
    answer = client.post(reverse("job-run", kwargs={"team": lead.team.slug}), {"name": name})
    assert answer.status_code == 400
    assert not JobRun.objects.exists()


def test_a_member_sees_no_button_and_is_refused(client):
    member = make_scope(make_team())
    client.force_login(member.user)
    assert "Run the sweeps now" not in page(client, member).content.decode()
    assert client.post(reverse("job-run", kwargs={"team": member.team.slug})).status_code == 403


def test_progress_asks_again_until_the_run_ends(client, lead):
    run = run_of(lead, state="running", lease_until=timezone.now(), progress_frac=0.4)
    where = reverse("job-progress", kwargs={"team": lead.team.slug, "pk": run.pk})
    assert f'hx-get="{where}"' in page(client, lead).content.decode()
    text = client.get(where, headers=HTMX).content.decode()
    assert 'value="40"' in text
    JobRun.objects.filter(pk=run.pk).update(state="done", finished_at=timezone.now())
    assert "hx-get" not in client.get(where, headers=HTMX).content.decode()
    assert client.get(where).status_code == 302, "a piece of a page is no page of its own"


def test_another_teams_run_has_no_progress_here(client, lead):
    run = run_of(make_scope(make_team()))
    where = reverse("job-progress", kwargs={"team": lead.team.slug, "pk": run.pk})
    assert client.get(where).status_code == 404


def test_a_long_wait_asks_for_the_worker(client, lead):
    run = run_of(lead, state="queued", minutes=3)
    where = reverse("job-progress", kwargs={"team": lead.team.slug, "pk": run.pk})
    assert "is a worker running?" in client.get(where, headers=HTMX).content.decode()


def test_a_run_between_two_slices_has_not_waited(client, lead):
    run = run_of(lead, state="queued", minutes=3, not_before=timezone.now(), progress_frac=0.4)
    where = reverse("job-progress", kwargs={"team": lead.team.slug, "pk": run.pk})
    text = client.get(where, headers=HTMX).content.decode()
    assert "is a worker running?" not in text
    assert 'value="40"' in text


def test_the_number_of_queries_does_not_grow_with_the_runs(client, lead):
    counts = []
    for number in (2, 48):
        for minute in range(number):
            run_of(lead, minutes=100 * number + minute, asked_by=lead.user)
        page(client, lead)
        with CaptureQueriesContext(
            connection,
        ) as queries:
            page(client, lead)
        counts.append(len(queries))
    assert counts[0] == counts[1]
