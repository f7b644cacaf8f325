"""``manage.py export_workbook FILE --team SLUG``: the team's whole state as a file that imports to the same state."""

from __future__ import annotations

from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from shared.management.commands._team import scope_of
from shared.workbook.exporter import CSV, XLSX
from shared.workbook.team import export_workbook


class Command(BaseCommand):
    help = "Write a team's whole state as a workbook (.xlsx) or as a zip of CSVs (.zip)."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument(
            "file", type=Path, help="where to write; its ending, .xlsx or .zip, decides the form"
        )
        parser.add_argument("--team", required=True, help="the team's slug, as in its pages' addresses")

    def handle(self, *args: Any, **options: Any) -> None:
        path: Path = options["file"]
        forms = {".xlsx": XLSX, ".zip": CSV}
        if path.suffix.lower() not in forms:
            raise CommandError(f"{path.name}: end the name in .xlsx or .zip.")
        scope = scope_of(options["team"])
        data = export_workbook(scope=scope, form=forms[path.suffix.lower()])
        try:
            path.write_bytes(data)
        except OSError as error:
            raise CommandError(f"Could not write {path}: {error.strerror}.") from error
        self.stdout.write(f"{scope.team.name}: {len(data)} bytes in {path}")
