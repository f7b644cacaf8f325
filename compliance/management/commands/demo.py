"""`manage.py demo`: the whole of Loadstock on invented data, from nothing to flags that explain themselves."""

from __future__ import annotations

import argparse
from collections import Counter
from collections.abc import Sequence
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from builds.selectors.events import events_ahead
from builds.selectors.rotation import current_plan
from builds.services.match_studies import FEWEST_RUNS
from compliance.demo.build import demo_is_there, demo_make, demo_teams
from compliance.demo.people import SIGN_INS
from compliance.models import Flag, Severity
from compliance.rules.base import SEVERITY_ORDER
from compliance.selectors.flags import flags_open
from compliance.selectors.match_lines import match_lines, team_studies
from shared import embedded, jobs
from shared.access import system_scope
from shared.errors import DomainError
from shared.models import JobRun, Team
from shared.web.figures import UNITS

STUDIES, LOOK, PLAN = "match.team", "rotation.look", "rotation.plan"


class Command(BaseCommand):
    help = (
        "Set up a demo with three invented teams, run the background checks on it, print what they flag and why, "
        "and serve the pages until Ctrl-C. A second start keeps the data."
    )
    requires_system_checks = []  # done once, with the database, below

    def add_arguments(self, parser: argparse.ArgumentParser) -> None:
        parser.add_argument(
            "--host",
            default=embedded.DEFAULT_HOST,
            help="address to listen on (default: this machine only; the demo's passwords are known to everyone)",
        )
        parser.add_argument(
            "--port", type=int, default=embedded.DEFAULT_PORT, help="the next free one is used if it is taken"
        )
        parser.add_argument(
            "--no-serve", action="store_true", help="do everything but serve the pages, for scripts"
        )

    def handle(self, *args: Any, host: str, port: int, no_serve: bool, **options: Any) -> None:
        if settings.PRODUCTION:
            raise CommandError(
                "'demo' signs people in with passwords that everyone knows, so it runs on the embedded set-up "
                "only. Unset DATABASE_URL, REDIS_URL and LOADSTOCK_MODE to try it."
            )
        self.stdout.write("Loadstock demo: three invented teams, SQLite and jobs on this machine.")
        self._prepare()
        self._report()
        self._sign_ins()
        if not no_serve:
            embedded.serve(host, port)

    def _prepare(self) -> None:
        embedded.step("database up to date", embedded.migrate)
        if demo_is_there():
            self.stdout.write("  the demo teams are there: their data stays as it is")
        else:
            embedded.step("demo teams made", _make)
        embedded.step("background checks done", _sweep)
        embedded.step("matches simulated", _study)
        embedded.step("batteries planned for the meet", _plan)

    def _report(self) -> None:
        for team in demo_teams():
            flags = sorted(
                flags_open(system_scope(team)), key=lambda f: (SEVERITY_ORDER[f.severity], f.subject_label)
            )
            self.stdout.write(f"\n{team.name} (demo data): {_summary(flags)}")
            for flag in flags:
                self.stdout.write(f"  {Severity(flag.severity).label:<12} {_line(flag)}")
            for line in _plans(team):
                self.stdout.write(f"  {line}")
            for studies in team_studies(system_scope(team)):
                for line in match_lines(studies):
                    self.stdout.write(f"  {line}")
        self.stdout.write("\nThe working behind each: its page, or manage.py sweep")

    def _sign_ins(self) -> None:
        self.stdout.write("\nSign in as:")
        for sign_in in SIGN_INS:
            self.stdout.write(f"  {sign_in.username:<8} {sign_in.password:<18} {sign_in.reader}")
        self.stdout.write("")
        self.stdout.flush()


def _make() -> list[Team]:
    try:
        return demo_make(timezone.now())
    except DomainError as exc:
        raise CommandError(str(exc)) from exc


def _sweep() -> None:
    """Every sweep as the worker would do it; each leaves its row on the jobs page."""
    jobs.enqueue("sweep.all", trigger=JobRun.Trigger.COMMAND)
    for run in jobs.run_due(wait_for_debounce=True, leave=(STUDIES, LOOK, PLAN)):
        _check(run)


def _study() -> None:
    """A first look at the matches of the team whose batteries age; the worker does the rest while pages are served."""
    for team in demo_teams()[:1]:
        _check(
            jobs.run_now(STUDIES, trigger=JobRun.Trigger.COMMAND, team=team, arguments={"runs": FEWEST_RUNS})
        )


def _plan() -> None:
    """The best plan for the rest of the meet that is on, with what the simulated matches say."""
    for team in demo_teams()[:1]:
        jobs.enqueue(LOOK, team=team, trigger=JobRun.Trigger.COMMAND)
    for run in jobs.run_due(wait_for_debounce=True, leave=(STUDIES,)):
        _check(run)


def _check(run: JobRun) -> None:
    if run.state == JobRun.State.FAILED:
        raise CommandError(f"The job {run.name} failed: {run.error}")


def _plans(team: Team) -> list[str]:
    """What the plan of each event that is on says, if there is one."""
    scope, lines = system_scope(team), []
    for event in events_ahead(scope, timezone.localdate()):
        view = current_plan(scope, event)
        if view is not None:
            proven = "; no better plan exists" if view.plan.proven else ""
            lines.append(f"{event.name}: {view.headline.rstrip('.')}{proven}.")
    return lines


def _summary(flags: Sequence[Flag]) -> str:
    counts = Counter(flag.severity for flag in flags)
    words = [
        f"{counts[severity]} {Severity(severity).label.lower()}"
        for severity in SEVERITY_ORDER
        if counts[severity]
    ]
    return f"{len(flags)} flags ({', '.join(words)})" if flags else "nothing flagged"


def _line(flag: Flag) -> str:
    """What is wrong, with the number that decided against its limit."""
    line = f"{flag.subject_label}: {flag.message}"
    if flag.value is None or flag.limit is None or flag.severity == Severity.UNKNOWN:
        return line
    return f"{line} [{_figure(flag.value, flag.unit)}; limit {_figure(flag.limit, flag.unit)}]"


def _figure(value: float, unit: str) -> str:
    known = UNITS.get(unit)
    if known is None:
        return f"{_digits(value, 4)} {'' if unit == 'each' else unit}".rstrip()
    return f"{_digits(value * known.factor, 3)} {known.sign}".rstrip()


def _digits(number: float, digits: int) -> str:
    """So many digits, and no power of ten where there are more before the point."""
    return f"{number:.0f}" if abs(number) >= 10**digits else f"{number:.{digits}g}"
