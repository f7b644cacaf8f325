"""`manage.py sweep` and `manage.py run_due_jobs`: what they print, leave behind and end with."""

from __future__ import annotations

import json
from datetime import timedelta
from typing import Any

import pytest
from django.core.management import CommandError, call_command
from django.utils import timezone

from builds.models import MatchStudy
from compliance.models import Flag
from compliance.services.flags import flag_waive
from inventory.models import Part
from shared import jobs
from shared.models import JobRun, Role, Team
from tests.builds.match_shop import make_match_shop
from tests.compliance.findings import Found, finding
from tests.inventory.stockroom import make_part, make_scope, make_team

pytestmark = pytest.mark.django_db

WORKING: dict[str, Any] = {
    "steps": [
        {
            "label": "Voltage drop over the round trip",
            "formula": "U = 2 l I R / n",
            "numbers": "2 x 1.5 m x 40 A x 8.2 mohm/m / 1",
            "result": 0.98412345,
            "unit": "V",
        }
    ],
    "limit": {"name": "drop_frac", "value": 0.03, "unit": "", "source": "default limits"},
    "conclusion": "0.98 V of 12 V is 8.2 %, above 3 %; " + "a word that makes the line long " * 5,
    "source": "33 CFR 183.425 Table 5",
    "status": "seen",
}


@pytest.fixture
def team() -> Team:
    return make_team("Gull Point")


@pytest.fixture
def part(team) -> Part:
    return make_part(team, "FUSE30")


@pytest.fixture
def found(monkeypatch, part) -> Found:
    """What the stock sweep finds; the other two find nothing."""
    stock = Found(finding(part, severity="fix", working=WORKING))
    finders = {"stock": stock}
    monkeypatch.setattr("compliance.services.flags.finder_of", lambda s: finders.get(s, Found()))
    return stock


def sweep(capsys: pytest.CaptureFixture[str], *arguments: str) -> str:
    call_command("sweep", *arguments, no_color=True)
    return capsys.readouterr().out


def test_a_flag_is_printed_with_its_working_in_a_hundred_columns(capsys, found, team):
    text = sweep(capsys)
    assert f"Gull Point ({team.slug}): 1 fix" in text
    assert "FIX  FUSE30  [stock-low]" in text
    assert "FUSE30 is short." in text
    assert "    Voltage drop over the round trip: 0.9841 V" in text.splitlines()
    assert "U = 2 l I R / n" in text
    assert "2 x 1.5 m x 40 A x 8.2 mohm/m / 1" in text
    assert "Limit: drop_frac 0.03 (default limits)" in text
    assert "Conclusion: 0.98 V of 12 V is 8.2 %, above 3 %" in text
    assert "Source: 33 CFR 183.425 Table 5" in text
    assert "1 open, 1 opened" in text
    assert max(map(len, text.splitlines())) <= 100


def test_what_the_message_says_is_not_said_again(capsys, found, part):
    found.findings = [finding(part, message="Too thin.", working={"conclusion": "Too thin."})]
    assert sweep(capsys).count("Too thin.") == 1


def test_the_run_leaves_its_row(capsys, found, team):
    sweep(capsys, "--team", team.slug, "--only", "stock")
    run = JobRun.objects.get()
    assert (run.name, run.team, run.trigger, run.state) == ("sweep.stock", team, "command", "done")
    assert run.counts["opened"] == 1
    assert run.duration_s is not None


def test_json_is_one_document_with_everything(capsys, found, team, part):
    document = json.loads(sweep(capsys, "--json"))
    assert document["run"]["counts"]["open"] == 1
    (of_team,) = document["teams"]
    (flag,) = of_team["flags"]
    assert of_team["team"] == team.slug
    assert flag["subject"] == {"kind": "part", "id": part.pk, "label": "FUSE30"}
    assert (flag["rule"], flag["severity"], flag["value"], flag["waived"]) == ("stock-low", "fix", 3.0, False)
    assert flag["working"] == WORKING


@pytest.mark.parametrize(
    ("severity", "fail_on", "fails"),
    [
        ("stop", "stop", True), ("fix", "stop", False), ("fix", "fix", True), ("stop", "fix", True),
        ("unknown", "fix", False), ("unknown", "unknown", True), ("watch", "unknown", False),
        ("watch", "watch", True), ("fix", "watch", True),
    ],
)  # fmt: skip
def test_fail_on_ends_with_three_when_something_is_that_serious(
    capsys, found, part, severity, fail_on, fails
):
    found.findings = [finding(part, severity=severity)]
    if fails:
        with pytest.raises(SystemExit) as ended:
            sweep(capsys, "--fail-on", fail_on)
        assert ended.value.code == 3
        assert "FUSE30" in capsys.readouterr().out
    else:
        assert "FUSE30" in sweep(capsys, "--fail-on", fail_on)


def test_what_is_waived_is_printed_and_fails_nothing(capsys, found, team):
    sweep(capsys)
    until = timezone.localdate() + timedelta(days=3)
    flag_waive(scope=make_scope(team, Role.MENTOR), flag=Flag.objects.get(), reason="Borrowed", until=until)
    text = sweep(capsys, "--fail-on", "watch")
    assert f"FIX (waived until {until})  FUSE30" in text
    assert "1 waived" in text


def test_only_one_sweep_is_run_and_its_flags_alone_count(capsys, found, part):
    sweep(capsys)
    text = sweep(capsys, "--only", "loads", "--fail-on", "watch")
    assert "no open flag" in text
    assert Flag.objects.get().state == "open"


def test_another_teams_flags_are_not_printed(capsys, found, team, part):
    other = make_team("Saltmarsh")
    found.findings.append(finding(make_part(other, "LUG6"), severity="stop"))
    text = sweep(capsys, "--team", team.slug, "--fail-on", "stop")
    assert "Saltmarsh" not in text
    assert Flag.objects.count() == 1
    assert "LUG6" in sweep(capsys)


def test_an_unknown_team_is_refused_with_the_slugs_there_are(capsys, found, team):
    other = make_team()
    with pytest.raises(CommandError, match=f"no-such-team.*{team.slug}, {other.slug}"):
        sweep(capsys, "--team", "no-such-team")
    assert not JobRun.objects.exists()


def test_a_sweep_that_fails_is_an_error_of_the_command(capsys, monkeypatch, team):
    def fails(team_ids, *, now):
        raise ZeroDivisionError("a wire without area")

    monkeypatch.setattr("compliance.services.flags.finder_of", lambda sweep: fails)
    with pytest.raises(CommandError, match="a wire without area"):
        sweep(capsys)
    assert JobRun.objects.get().state == "failed"


# --- run_due_jobs ---------------------------------------------------------------------------------


def due_jobs(capsys: pytest.CaptureFixture[str]) -> str:
    call_command("run_due_jobs", no_color=True)
    return capsys.readouterr().out


def test_a_scheduled_job_that_never_ran_is_started_and_not_again_the_same_night(capsys, found, settings):
    settings.SCHEDULED_JOBS = ["sweep.all"]
    assert "All sweeps, every team: done" in due_jobs(capsys)
    assert Flag.objects.count() == 1
    assert "No run was due." in due_jobs(capsys)
    JobRun.objects.update(asked_at=timezone.now() - timedelta(days=1, minutes=1))
    assert "1 runs, 0 of them failed." in due_jobs(capsys)
    assert JobRun.objects.filter(trigger="schedule").count() == 2


def test_what_an_edit_queued_is_done_when_its_time_has_come(capsys, found, settings, team):
    settings.SCHEDULED_JOBS = []
    run = jobs.enqueue("sweep.stock", trigger="edit", team=team)
    assert "No run was due." in due_jobs(capsys)
    JobRun.objects.filter(pk=run.pk).update(not_before=timezone.now())
    assert "Stock before the next event of Gull Point: done" in due_jobs(capsys)
    assert Flag.objects.count() == 1


def test_a_run_that_failed_is_told_and_ends_the_command_with_an_error(capsys, monkeypatch, settings, team):
    settings.SCHEDULED_JOBS = []
    monkeypatch.setattr("compliance.services.flags.finder_of", lambda sweep: None)
    jobs.enqueue("sweep.loads", trigger="person", team=team)
    with pytest.raises(CommandError, match="Some runs failed"):
        due_jobs(capsys)
    assert "failed in" in capsys.readouterr().out


def test_what_simulated_matches_say_is_printed_per_battery(capsys):
    shop = make_match_shop()
    kept = {None: (0.0, 8.25, shop.keys()["New AGM"]), shop["B01"]: (0.3, 6.5, "of another day")}
    for battery, (chance, lowest, key) in kept.items():
        summary = {"brownout_frac": chance, "brownout_low_frac": 0.0, "brownout_high_frac": chance + 0.1,
                   "lowest_v": lowest}  # fmt: skip
        MatchStudy.objects.create(team=shop.scope.team, build=shop.build, battery=battery, key=key, runs=100,
                                  duration_s=150, outcome={"summary": summary}, computed_at=timezone.now())  # fmt: skip
    call_command("sweep", "--team", shop.scope.team.slug)
    lines = capsys.readouterr().out.splitlines()
    at = next(i for i, line in enumerate(lines) if "in simulated matches" in line)
    assert lines[at].startswith("Heron rev A")
    assert lines[at + 1].split() == [
        "New",
        "AGM",
        "0%",
        "(0%",
        "to",
        "10%)",
        "8.2",
        "V",
        "in",
        "100",
        "matches",
    ]
    assert lines[at + 2].split() == [
        "B01",
        "30%",
        "(0%",
        "to",
        "40%)",
        "6.5",
        "V",
        "before",
        "the",
        "last",
        "edits",
    ]
    call_command("sweep", "--team", shop.scope.team.slug, "--json")
    (team,) = json.loads(capsys.readouterr().out)["teams"]
    assert [(b["label"], b["fresh"], b["lowest_v"]) for b in team["matches"][0]["batteries"]] == [
        ("New AGM", True, 8.25), ("B01", False, 6.5),
    ]  # fmt: skip
