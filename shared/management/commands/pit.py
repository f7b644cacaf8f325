"""`manage.py pit`: the embedded installation over https, for phones in the pit."""

from __future__ import annotations

import argparse
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError

from shared import embedded


class Command(BaseCommand):
    help = (
        "Like 'up', but over https with a certificate authority of this machine's own, for phones: camera and pages "
        "that survive a reload without network. A plain page beside it hands the certificate to the phones."
    )
    requires_system_checks = []  # done once, with the database, below

    def add_arguments(self, parser: argparse.ArgumentParser) -> None:
        parser.add_argument(
            "--host",
            default=embedded.EVERY_HOST,
            help="address to listen on (default: every one of this machine)",
        )
        parser.add_argument("--port", type=int, default=embedded.PIT_PORT, help="of the https site")
        parser.add_argument(
            "--plain-port",
            type=int,
            default=embedded.DEFAULT_PORT,
            help="of the page that hands out the certificate",
        )
        parser.add_argument(
            "--new-authority",
            action="store_true",
            help="make a new certificate authority; phones that took in the former one need the new one",
        )

    def handle(
        self, *args: Any, host: str, port: int, plain_port: int, new_authority: bool, **options: Any
    ) -> None:
        if settings.PRODUCTION:
            raise CommandError(
                "'pit' is the embedded run, but DATABASE_URL, REDIS_URL or LOADSTOCK_MODE ask for production. "
                "Unset them; a server has a certificate of its own and needs no 'pit'."
            )
        self.stdout.write("Loadstock in the pit: SQLite and jobs on this machine, https for the phones.")
        embedded.step("database up to date", embedded.migrate)
        embedded.serve_pit(host, port, plain_port, new_authority=new_authority)
