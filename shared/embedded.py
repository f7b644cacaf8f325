"""The embedded run: database and static files brought up to date, then web, jobs and beat until Ctrl-C."""

from __future__ import annotations

import fcntl
import io
import os
import socket
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import NoReturn

from django.conf import settings
from django.core.management import CommandError, call_command
from django.db import connections

DEFAULT_HOST = "127.0.0.1"
DEFAULT_PORT = 8000


def step(title: str, work: Callable[[], object]) -> None:
    """Do one step of the start and say how long it took."""
    start = time.monotonic()
    work()
    sys.stdout.write(f"  {title:<35} {time.monotonic() - start:5.1f} s\n")
    sys.stdout.flush()


def migrate() -> None:
    """Bring the database up to date, with the checks of the database settings."""
    call_command(
        "check", databases=["default"], fail_level="ERROR", stdout=io.StringIO()
    )  # warnings go to stderr
    call_command("migrate", verbosity=0, interactive=False)


def collect_static() -> None:
    call_command("collectstatic", verbosity=0, interactive=False)


def only_one_start() -> None:
    """Refuse a second run on the same data: two clocks would start every job twice.

    The lock lives in a descriptor this process hands on to the supervisor, and goes with it however it ends.
    """
    path = Path(settings.DATA_DIR) / "up.lock"
    descriptor = os.open(path, os.O_RDWR | os.O_CREAT, 0o600)
    try:
        fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        holder = os.read(descriptor, 20).decode(errors="replace").strip()
        raise CommandError(
            f"Loadstock already runs on {settings.DATA_DIR} (process {holder}). End that one first, or give "
            "this one a folder of its own in DATA_DIR."
        ) from None
    os.ftruncate(descriptor, 0)
    os.write(descriptor, str(os.getpid()).encode())
    os.set_inheritable(descriptor, True)


def own_names() -> list[str]:
    """Names and addresses under which others on the network reach this machine."""
    name = socket.gethostname()
    try:
        found = {str(info[4][0]) for info in socket.getaddrinfo(name, None, socket.AF_INET)}
        addresses = {address for address in found if not address.startswith("127.")}
    except OSError:
        addresses = set()
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            # Sends nothing: connecting a datagram socket only asks which of our addresses faces outwards.
            # 192.0.2.1 is the address RFC 5737 keeps for documentation.
            probe.connect(("192.0.2.1", 9))
            addresses.add(probe.getsockname()[0])
        except OSError:
            pass  # no network at all
    return [name, f"{name}.local", *sorted(addresses)]


def serve(host: str = DEFAULT_HOST, port: int = DEFAULT_PORT) -> NoReturn:
    """Collect the static files and become the supervisor; the database must be up to date already.

    Does not return: the process is replaced, so that the one that waits keeps no Django in memory.
    """
    only_one_start()
    step("static files collected", collect_static)
    others = [] if host in {"127.0.0.1", "localhost", "::1"} else own_names()
    if others and not os.environ.get("ALLOWED_HOSTS"):
        os.environ["ALLOWED_HOSTS"] = ",".join([*settings.ALLOWED_HOSTS, host, *others])
    connections.close_all()
    sys.stdout.flush()
    sys.stderr.flush()
    os.chdir(settings.BASE_DIR)
    os.execv(sys.executable, [sys.executable, "-m", "shared.supervisor", host, str(port), *others])
