"""`manage.py up`: the whole embedded installation in one command."""

from __future__ import annotations

import argparse
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError

from shared import embedded


class Command(BaseCommand):
    help = "Bring the database up to date and run web, jobs and clock on this machine until Ctrl-C."
    requires_system_checks = []  # done once, with the database, below

    def add_arguments(self, parser: argparse.ArgumentParser) -> None:
        parser.add_argument(
            "--host",
            default=embedded.DEFAULT_HOST,
            help="address to listen on; 0.0.0.0 lets phones on the network in (default: this machine only)",
        )
        parser.add_argument(
            "--port", type=int, default=embedded.DEFAULT_PORT, help="the next free one is used if it is taken"
        )

    def handle(self, *args: Any, host: str, port: int, **options: Any) -> None:
        if settings.PRODUCTION:
            raise CommandError(
                "'up' is the embedded run, but DATABASE_URL, REDIS_URL or LOADSTOCK_MODE ask for production. "
                "Unset them, or start the servers as README.md, 'Production', shows."
            )
        self.stdout.write("Loadstock, embedded: SQLite and jobs on this machine.")
        embedded.step("database up to date", embedded.migrate)
        embedded.serve(host, port)
