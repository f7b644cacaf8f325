"""Flags by page: found by their filters, explained, waived by a mentor and by nobody else."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from compliance.models import Waiver
from shared.models import Role
from tests.builds.workshop import make_build, make_circuit, make_robot, make_workshop
from tests.compliance.flagged import make_battery, make_flag, make_waiver
from tests.inventory.stockroom import make_scope, make_team

pytestmark = pytest.mark.django_db


@pytest.fixture
def mentor(client):
    scope = make_scope(make_team(), Role.MENTOR)
    client.force_login(scope.user)
    return scope


def listing(client, scope, query: str = ""):
    return client.get(reverse("flag-list", kwargs={"team": scope.team.slug}) + query)


def detail(client, scope, flag):
    return client.get(reverse("flag-detail", kwargs={"team": scope.team.slug, "pk": flag.pk}))


def waive(client, scope, flag, **values: str):
    until = str(timezone.localdate() + timedelta(days=9))
    where = reverse("flag-waive", kwargs={"team": scope.team.slug, "pk": flag.pk})
    return client.post(where, {"reason": "Known, for practice only", "until": until, **values})


def test_the_list_counts_what_is_open_and_shows_the_worst_first(client, mentor):
    watch, stop = make_flag(mentor.team, severity="watch"), make_flag(mentor.team, severity="stop")
    make_waiver(make_flag(mentor.team))
    make_flag(mentor.team, state="cleared")
    make_flag(make_team(), message="of another team")
    answer = listing(client, mentor)
    assert [flag.pk for flag in answer.context["flags"]] == [stop.pk, watch.pk]
    assert "2 flags are open." in answer.content.decode()
    assert dict(answer.context["tally"]) == {"stop": 1, "fix": 0, "unknown": 0, "watch": 1}
    assert [tab[3] for tab in answer.context["tabs"]] == [2, 1, 1, 4]


@pytest.mark.parametrize(
    ("query", "labels"),
    [
        ("?severity=stop", ["A"]),
        ("?sweep=stock", ["B"]),
        ("?kind=part", ["B"]),
        ("?q=terminal", ["B"]),
        ("?rule=battery-rise", ["A"]),
        ("?standing=waived", ["C"]),
        ("?standing=cleared", ["D"]),
        ("?standing=all&severity=fix", ["B", "C", "D"]),
        ("?severity=stop&sweep=stock", []),
    ],
)
def test_filters(client, mentor, query, labels):
    make_flag(mentor.team, subject_label="A", severity="stop")
    make_flag(mentor.team, subject_label="B", sweep="stock", subject_kind="part", rule_code="stock-short",
              message="Ring terminals run short.")  # fmt: skip
    make_waiver(make_flag(mentor.team, subject_label="C", rule_code="battery-use"))
    make_flag(mentor.team, subject_label="D", state="cleared", rule_code="battery-use")
    answer = listing(client, mentor, query)
    assert sorted(flag.subject_label for flag in answer.context["flags"]) == labels
    assert f"{len(labels)} found" in answer.content.decode()


def test_the_robot_filter_finds_its_circuits_and_builds(client):
    shop = make_workshop()
    client.force_login(shop.scope.user)
    ours, other = (make_build(shop, make_robot(shop, code)) for code in ("heron", "plover"))
    circuit = make_circuit(shop, ours, "C1")
    about = {"sweep": "loads", "rule_code": "wire-drop"}
    make_flag(shop.team, subject_kind="circuit", subject_id=circuit.pk, subject_label="heron C1", **about)
    make_flag(shop.team, subject_kind="build", subject_id=ours.pk, subject_label="heron rev A", **about)
    make_flag(shop.team, subject_kind="build", subject_id=other.pk, subject_label="plover rev A", **about)
    found = listing(client, shop.scope, "?robot=heron").context["flags"]
    assert {flag.subject_label for flag in found} == {"heron C1", "heron rev A"}


def test_a_filter_nobody_knows_is_answered_and_finds_nothing(client, mentor):
    make_flag(mentor.team)
    answer = listing(client, mentor, "?severity=awful")
    assert answer.status_code == 200
    assert "awful is not one of the available choices" in answer.content.decode()
    assert list(answer.context["flags"]) == []


def test_an_empty_list_says_what_opens_a_flag(client, mentor):
    text = listing(client, mentor).content.decode()
    assert "No flag is open." in text
    assert "A flag opens when a sweep finds something" in text


def test_one_flag_shows_working_remedy_history_and_where_it_is(client, mentor):
    battery = make_battery(mentor.team, "GP-04")
    working = {
        "steps": [{"label": "Rise", "formula": "level / baseline - 1", "numbers": "15 / 12 - 1", "result": 0.25,
                   "unit": ""}],
        "limit": {"name": "watch_rise_frac", "value": 0.2, "unit": "frac"},
        "conclusion": "Above the limit.", "source": "IEEE 1188-2005", "status": "seen",
    }  # fmt: skip
    flag = make_flag(mentor.team, subject_id=battery.pk, subject_label="GP-04", working=working)
    make_flag(mentor.team, subject_id=battery.pk, rule_code="battery-use", message="It is old as well.")
    text = detail(client, mentor, flag).content.decode()
    assert "level / baseline - 1" in text
    assert "IEEE 1188-2005" in text
    assert "watch_rise_frac" in text
    assert reverse("battery-detail", kwargs={"team": mentor.team.slug, "pk": battery.pk}) in text
    assert "Practice only: keep it out of matches." in text
    assert "Opened" in text
    assert "It is old as well." in text
    assert "A lead-acid battery can hurt you." in text


def test_a_flag_of_a_rule_or_subject_that_is_gone_can_still_be_read(client, mentor):
    flag = make_flag(mentor.team, rule_code="rule-of-old")
    answer = detail(client, mentor, flag)
    assert answer.status_code == 200
    assert answer.context["subject_url"] == ""


def test_a_mentor_waives_until_a_day_and_withdraws(client, mentor):
    flag = make_flag(mentor.team)
    assert waive(client, mentor, flag).status_code == 302
    waiver = Waiver.objects.get()
    assert (waiver.flag, waiver.by) == (flag, mentor.user)
    text = detail(client, mentor, flag).content.decode()
    assert "Known, for practice only" in text
    assert "Withdraw the waiver" in text
    assert list(listing(client, mentor).context["flags"]) == []
    where = reverse("waiver-withdraw", kwargs={"team": mentor.team.slug, "pk": waiver.pk})
    assert client.post(where).status_code == 302
    assert [f.pk for f in listing(client, mentor).context["flags"]] == [flag.pk]
    again = client.post(where)
    assert again.status_code == 409
    assert "was withdrawn already" in again.content.decode()


@pytest.mark.parametrize(
    ("values", "told"),
    [
        ({"reason": " "}, "This field is required"),
        ({"until": "2020-01-01"}, "or a later day"),
        ({"until": "soon"}, "Enter a valid date"),
    ],
)
def test_a_waiver_needs_a_reason_and_a_day_to_come(client, mentor, values, told):
    answer = waive(client, mentor, make_flag(mentor.team), **values)
    assert answer.status_code == 422
    assert told in answer.content.decode()
    assert not Waiver.objects.exists()


def test_a_waiver_that_ran_out_no_longer_hides_the_flag(client, mentor):
    flag = make_flag(mentor.team)
    make_waiver(flag, days=-1)
    assert [f.pk for f in listing(client, mentor).context["flags"]] == [flag.pk]
    assert waive(client, mentor, flag).status_code == 302


def test_a_cleared_flag_cannot_be_waived(client, mentor):
    answer = waive(client, mentor, make_flag(mentor.team, state="cleared"))
    assert answer.status_code == 409
    assert "There is nothing to waive" in answer.content.decode()


@pytest.mark.parametrize("role", [Role.LEAD, Role.MEMBER, Role.AUDITOR])
def test_others_read_but_waive_nothing(client, mentor, role):
    flag = make_flag(mentor.team)
    scope = make_scope(mentor.team, role)
    client.force_login(scope.user)
    assert "Waive it until then" not in detail(client, scope, flag).content.decode()
    assert waive(client, scope, flag).status_code == 403


def test_a_flag_of_another_team_is_not_there(client, mentor):
    flag = make_flag(make_team())
    assert detail(client, mentor, flag).status_code == 404
    assert waive(client, mentor, flag).status_code == 404


def test_what_was_typed_is_text_not_markup(client, mentor):
    make_flag(mentor.team, message="<script>alert(1)</script>")
    assert "<script>alert" not in listing(client, mentor).content.decode()


def test_the_number_of_queries_does_not_grow_with_the_flags(client, mentor):
    counts = []
    for number in (2, 48):
        for _ in range(number):
            make_waiver(make_flag(mentor.team))
            make_flag(mentor.team)
        listing(client, mentor)
        with CaptureQueriesContext(connection) as queries:
            listing(client, mentor, "?standing=all")
        counts.append(len(queries))
    assert counts[0] == counts[1]
