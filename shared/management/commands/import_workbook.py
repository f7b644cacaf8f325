"""``manage.py import_workbook FILE --team SLUG [--dry-run]``: preview, every error, then all or nothing."""

from __future__ import annotations

from argparse import ArgumentParser
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from shared.errors import DomainError
from shared.management.commands._team import scope_of
from shared.runs import runs_waiting
from shared.workbook.plan import PlanSummary, RowChange, SheetPlan
from shared.workbook.team import apply_plan, plan_import

NOTHING = "Nothing was changed."
#: Rows named one by one for each sheet; --all names every one.
SHOWN_ROWS = 20


class Command(BaseCommand):
    help = (
        "Read a workbook (XLSX, a zip or a folder of CSVs) into a team: preview, then all of it or nothing."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("file", type=Path, help="an XLSX file, a CSV, a zip or a folder of CSVs")
        parser.add_argument("--team", required=True, help="the team's slug, as in its pages' addresses")
        parser.add_argument("--dry-run", action="store_true", help="show the preview and change nothing")
        parser.add_argument("--all", action="store_true", help="name every row, not the first of each sheet")

    def handle(self, *args: Any, **options: Any) -> None:
        scope = scope_of(options["team"])
        try:
            plan = plan_import(scope=scope, source=options["file"])
            for line in preview(plan, None if options["all"] else SHOWN_ROWS):
                self.stdout.write(line)
            if not plan.ok:
                raise CommandError(f"{plan.error_count} errors in {plan.file_name}. {NOTHING}")
            if options["dry_run"] or plan.changes_nothing:
                self.stdout.write(NOTHING)
                return
            apply_plan(scope=scope, plan=plan)
        except DomainError as refused:
            raise CommandError(f"{refused.sentence} {NOTHING}") from refused
        self.stdout.write(f"Imported into {scope.team.name}: {plan.added} added, {plan.changed} changed.")
        for run in runs_waiting(scope):
            self.stdout.write(f"Queued: {run.name}")


def preview(plan: PlanSummary, most: int | None) -> Iterator[str]:
    """The preview line by line: errors first, each with sheet, row, column, value and remedy."""
    for error in plan.errors:
        yield f"ERROR {error.where or plan.file_name}: {error.message}"
        if error.value:
            yield f"      value:  {error.value}"
        yield f"      remedy: {error.remedy}"
    if plan.error_count > len(plan.errors):
        yield f"ERROR and {plan.error_count - len(plan.errors)} more"
    for note in plan.notes:
        yield f"note: {note}"
    for sheet in plan.sheets:
        if sheet.added or sheet.changed or sheet.unchanged:
            yield from _sheet(sheet, most)
    yield f"In all: {plan.added} to add, {plan.changed} to change, {plan.unchanged} the same."


def _sheet(sheet: SheetPlan, most: int | None) -> Iterator[str]:
    yield (
        f"{sheet.name}: {len(sheet.added)} to add, {len(sheet.changed)} to change, {sheet.unchanged} the same, "
        f"{sheet.not_in_file} not in the file (left as they are)"
    )
    for mark, rows in (("+", sheet.added), ("~", sheet.changed)):
        for row in rows[:most]:
            yield f"  {mark} row {row.row} {row.name}{_changes(row) if mark == '~' else ''}"
        if most is not None and len(rows) > most:
            yield f"  {mark} and {len(rows) - most} more (--all names them)"


def _changes(row: RowChange) -> str:
    return ": " + "; ".join(f"{c.heading} {c.old or 'empty'} -> {c.new or 'empty'}" for c in row.changes)
