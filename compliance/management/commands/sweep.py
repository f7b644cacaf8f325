"""`manage.py sweep`: judge now, in this process, and print every open flag with its working."""

from __future__ import annotations

import argparse
import json
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from compliance.rules.base import SEVERITY_ORDER
from compliance.selectors.flags import MarkedFlag, flags_open_of
from compliance.selectors.match_lines import match_data, match_lines, team_studies
from compliance.selectors.printing import flag_data, flag_lines, wrapped
from compliance.sweeps.registry import SWEEPS
from shared.access import system_scope
from shared.jobs import run_now
from shared.models import JobRun, Team

FAILS_ON = 3


class Command(BaseCommand):
    help = (
        "Run the sweeps in this process and print the open flags with their workings. "
        "Exit code 3 when --fail-on finds an open flag that nobody has waived."
    )

    def add_arguments(self, parser: argparse.ArgumentParser) -> None:
        parser.add_argument("--team", metavar="SLUG", default="", help="one team (default: all)")
        parser.add_argument("--only", choices=SWEEPS, default="", help="one of the three sweeps")
        parser.add_argument("--json", action="store_true", dest="as_json", help="print one JSON document")
        parser.add_argument(
            "--fail-on",
            choices=list(SEVERITY_ORDER),
            default="",
            help="exit with 3 if an open flag is as serious as this or more so; "
            f"the order is {', '.join(SEVERITY_ORDER)}",
        )

    def handle(self, *args: Any, team: str, only: str, as_json: bool, fail_on: str, **options: Any) -> None:
        teams = _teams(team)
        run = run_now(
            f"sweep.{only}" if only else "sweep.all",
            trigger=JobRun.Trigger.COMMAND,
            team=teams[0] if team else None,
        )
        if run.state != JobRun.State.DONE:
            raise CommandError(f"The sweep failed: {run.error}")
        found = flags_open_of([t.pk for t in teams])
        flags = list(found.filter(sweep=only) if only else found)
        counting = [f for f in flags if fail_on and _fails(f, fail_on)]
        if as_json:
            self.stdout.write(json.dumps(_document(run, teams, flags), ensure_ascii=False, indent=2))
        else:
            self._print(run, teams, flags)
        if counting:
            raise SystemExit(FAILS_ON)

    def _print(self, run: JobRun, teams: list[Team], flags: list[MarkedFlag]) -> None:
        for team in teams:
            own = [flag for flag in flags if flag.team_id == team.pk]
            self.stdout.write(self.style.MIGRATE_HEADING(f"{team.name} ({team.slug}): {_summary(own)}"))
            for flag in own:
                self.stdout.write("")
                for line in flag_lines(flag):
                    self.stdout.write(line)
            for studies in team_studies(system_scope(team)):
                self.stdout.write("")
                for line in match_lines(studies):
                    self.stdout.write(line)
            self.stdout.write("")
        for line in wrapped(_counts_line(run)):
            self.stdout.write(line)


def _teams(slug: str) -> list[Team]:
    teams = list(Team.objects.filter(archived=False).order_by("slug"))
    if not slug:
        return teams
    if not (chosen := [team for team in teams if team.slug == slug]):
        known = ", ".join(team.slug for team in teams) or "none yet"
        raise CommandError(f"No team has the slug {slug!r}. There are: {known}.")
    return chosen


def _fails(flag: MarkedFlag, fail_on: str) -> bool:
    return not flag.waived and SEVERITY_ORDER[flag.severity] <= SEVERITY_ORDER[fail_on]


def _summary(flags: list[MarkedFlag]) -> str:
    if not flags:
        return "no open flag"
    numbers = {s: sum(f.severity == s and not f.waived for f in flags) for s in SEVERITY_ORDER}
    parts = [f"{number} {severity}" for severity, number in numbers.items() if number]
    waived = sum(flag.waived for flag in flags)
    return ", ".join([*parts, f"{waived} waived"] if waived else parts)


def _counts_line(run: JobRun) -> str:
    seconds = f"{run.duration_s:.1f} s" if run.duration_s is not None else ""
    counts = ", ".join(f"{number} {name.replace('_', ' ')}" for name, number in run.counts.items())
    return f"Looked at in {seconds}: {counts}."


def _document(run: JobRun, teams: list[Team], flags: list[MarkedFlag]) -> dict[str, Any]:
    return {
        "run": {"id": run.pk, "job": run.name, "duration_s": run.duration_s, "counts": run.counts},
        "judged_at": (run.finished_at or timezone.now()).isoformat(),
        "teams": [
            {
                "team": team.slug,
                "name": team.name,
                "flags": [flag_data(flag) for flag in flags if flag.team_id == team.pk],
                "matches": [match_data(studies) for studies in team_studies(system_scope(team))],
            }
            for team in teams
        ],
    }
