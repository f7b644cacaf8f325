"""Flags, waivers, rules and rule packs over the API."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone
from rest_framework.test import APIClient

from compliance.models import RuleSetting, Waiver
from compliance.rules.registry import RULES
from shared.models import JobRun, Role
from tests.compliance.flagged import make_flag, make_waiver
from tests.inventory.stockroom import make_scope, make_team

pytestmark = pytest.mark.django_db


class Caller(APIClient):
    """An API client of one person in one team."""

    def __init__(self, role: str, team=None) -> None:
        super().__init__()
        self.scope = make_scope(team or make_team(), role)
        self.force_authenticate(self.scope.user)

    @property
    def team(self):
        return self.scope.team

    def at(self, path: str) -> str:
        return f"/api/v1/t/{self.team.slug}/{path}"

    def read(self, path: str):
        return self.get(self.at(path))

    def send(self, path: str, body=None):
        return self.post(self.at(path), body or {}, format="json")


@pytest.fixture
def mentor():
    return Caller(Role.MENTOR)


def a_day(days: int) -> str:
    return str(timezone.localdate() + timedelta(days=days))


def test_the_list_leaves_out_what_is_waived_or_cleared_unless_asked(mentor):
    fix, stop = make_flag(mentor.team), make_flag(mentor.team, severity="stop")
    waived, cleared = make_flag(mentor.team), make_flag(mentor.team, state="cleared")
    waiver = make_waiver(waived)
    make_flag(make_team())
    assert [f["id"] for f in mentor.read("flags/").data["results"]] == [stop.pk, fix.pk]
    assert [f["id"] for f in mentor.read("flags/?standing=cleared").data["results"]] == [cleared.pk]
    (one,) = mentor.read("flags/?standing=waived").data["results"]
    assert (one["id"], one["waived"], one["waived_until"]) == (waived.pk, True, str(waiver.until))
    assert mentor.read("flags/?standing=all").data["count"] == 4
    assert mentor.read("flags/?severity=stop&sweep=batteries").data["count"] == 1


def test_a_wrong_filter_is_an_error_not_everything(mentor):
    answer = mentor.read("flags/?severity=awful")
    assert (answer.status_code, list(answer.data)) == (400, ["severity"])


def test_one_flag_comes_with_working_and_history_waived_or_not(mentor):
    flag = make_flag(mentor.team)
    make_waiver(flag)
    told = mentor.read(f"flags/{flag.pk}/").data
    assert told["working"]["conclusion"] == "It rose."
    assert [event["kind"] for event in told["history"]] == ["opened"]


def test_a_mentor_waives_and_withdraws(mentor):
    flag = make_flag(mentor.team)
    made = mentor.send(f"flags/{flag.pk}/waive/", {"reason": "Known", "until": a_day(9)})
    assert made.status_code == 201
    assert made.data["by"] == mentor.scope.user.username
    again = mentor.send(f"flags/{flag.pk}/waive/", {"reason": "Known", "until": a_day(9)})
    assert again.status_code == 409
    assert again.data["remedy"] == "Withdraw that waiver first"
    ended = mentor.send(f"waivers/{made.data['id']}/withdraw/")
    assert ended.status_code == 200
    assert ended.data["withdrawn_at"] is not None
    assert mentor.read(f"waivers/?flag={flag.pk}").data["count"] == 1


@pytest.mark.parametrize(
    ("body", "field"), [({"until": a_day(3)}, "reason"), ({"reason": "x", "until": "soon"}, "until")]
)
def test_a_waiver_without_reason_or_day_is_refused(mentor, body, field):
    flag = make_flag(mentor.team)
    answer = mentor.send(f"flags/{flag.pk}/waive/", body)
    assert (answer.status_code, field in answer.data) == (400, True)
    assert not Waiver.objects.exists()


@pytest.mark.parametrize("role", [Role.LEAD, Role.MEMBER, Role.AUDITOR])
def test_others_waive_nothing(mentor, role):
    flag, other = make_flag(mentor.team), Caller(role, mentor.team)
    assert other.read(f"flags/{flag.pk}/").status_code == 200
    assert other.send(f"flags/{flag.pk}/waive/", {"reason": "x", "until": a_day(1)}).status_code == 403


def test_flags_and_waivers_of_another_team_are_not_found(mentor):
    flag = make_flag(make_team())
    waiver = make_waiver(flag)
    assert mentor.read(f"flags/{flag.pk}/").status_code == 404
    assert mentor.send(f"flags/{flag.pk}/waive/", {"reason": "x", "until": a_day(1)}).status_code == 404
    assert mentor.send(f"waivers/{waiver.pk}/withdraw/").status_code == 404


def test_rules_are_described_with_their_limits_and_an_example(mentor):
    told = mentor.read("rules/").json()["results"]
    assert {rule["code"] for rule in told} == set(RULES)
    drop = mentor.read("rules/wire-drop/").json()
    assert drop["limits"][0]["default"] == 0.03
    assert drop["limits"][0]["source"]["title"] == "ABYC E-11"
    assert drop["example"]["steps"]
    assert mentor.read("rules/none/").status_code == 404


def test_a_mentor_keeps_rule_packs(mentor):
    pack = mentor.send("rule-packs/", {"name": "Estuary 2026"}).data
    JobRun.objects.all().delete()
    body = {"pack": pack["id"], "rule_code": "wire-drop", "limits": {"critical_frac": 0.05}}
    made = mentor.send("rule-settings/", body)
    assert made.status_code == 201, made.data
    assert JobRun.objects.filter(name="sweep.loads").exists()
    where = mentor.at(f"rule-settings/{made.data['id']}/")
    assert mentor.patch(where, {"enabled": False}, format="json").data["enabled"] is False
    assert mentor.delete(where).status_code == 204
    assert mentor.delete(mentor.at(f"rule-packs/{pack['id']}/")).status_code == 204


def test_limits_a_rule_cannot_take_are_refused(mentor):
    pack = mentor.send("rule-packs/", {"name": "Estuary 2026"}).data
    body = {"pack": pack["id"], "rule_code": "wire-drop", "limits": {"critical_frac": "lots"}}
    answer = mentor.send("rule-settings/", body)
    assert answer.status_code == 400
    assert answer.data["field"] == "limits"
    assert not RuleSetting.objects.exists()


def test_a_pack_of_another_team_takes_no_setting(mentor):
    other = Caller(Role.MENTOR)
    pack = other.send("rule-packs/", {"name": "Theirs"}).data
    body = {"pack": pack["id"], "rule_code": "wire-drop", "limits": {}}
    assert mentor.send("rule-settings/", body).status_code == 400
    lead = Caller(Role.LEAD, mentor.team)
    assert lead.send("rule-packs/", {"name": "Mine"}).status_code == 403


def test_the_number_of_queries_does_not_grow_with_the_flags(mentor):
    counts = []
    for number in (2, 48):
        for _ in range(number):
            make_waiver(make_flag(mentor.team))
        with CaptureQueriesContext(connection) as queries:
            mentor.read("flags/?standing=all")
        counts.append(len(queries))
    assert counts[0] == counts[1]
