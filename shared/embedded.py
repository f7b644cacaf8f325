"""The embedded run: database and static files brought up to date, then web, jobs and beat until Ctrl-C."""

from __future__ import annotations

import fcntl
import io
import os
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import NoReturn

from django.conf import settings
from django.core.management import CommandError, call_command
from django.db import connections

from shared import supervisor
from shared.addresses import own_addresses, own_names
from shared.pit import authority, page

DEFAULT_HOST = "127.0.0.1"
DEFAULT_PORT = 8000
EVERY_HOST = "0.0.0.0"  # noqa: S104 - 'pit' is there to be reached
PIT_PORT = 8443


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


def serve(host: str = DEFAULT_HOST, port: int = DEFAULT_PORT) -> NoReturn:
    """Collect the static files and become the supervisor; the database must be up to date already.

    Does not return: the process is replaced, so that the one that waits keeps no Django in memory.
    """
    only_one_start()
    step("static files collected", collect_static)
    others = [] if host in {"127.0.0.1", "localhost", "::1"} else own_names()
    _let_in([host, *others])
    _become_supervisor([host, str(port), *others])


def serve_pit(host: str, port: int, plain_port: int, *, new_authority: bool = False) -> NoReturn:
    """As ``serve``, over https under this machine's own authority, with the plain page that hands it out."""
    only_one_start()
    step("static files collected", collect_static)
    names = own_names()
    folder = Path(settings.DATA_DIR) / "pit"
    made = authority.prepare(folder, names, new=new_authority)
    site, plain = supervisor.listen(host, port), supervisor.listen(host, plain_port)
    ports = {"port": site.getsockname()[1], "plain_port": plain.getsockname()[1]}
    reached = page.addresses(made.covered, **ports)
    page.write_site(folder / "site", made, reached)
    _tell_pit(made, _addresses_before(folder))
    # TLS ends in this machine's own web process. No strict transport security: the laptop is plain http again
    # tomorrow, and a browser that insists on https could not open it.
    os.environ.update(HTTPS_ONLY="on", HSTS_SECONDS="0", BEHIND_PROXY="off")
    _let_in([host, *names])
    options = ["--tls", str(folder), "--plain-site", str(folder / "site")]
    for name, listener in (("--web-fd", site), ("--plain-fd", plain)):
        listener.set_inheritable(True)
        options += [name, str(listener.fileno())]
    _become_supervisor([host, str(ports["port"]), *(one.name for one in reached), *options])


def _tell_pit(made: authority.Made, before: list[str]) -> None:
    """What the person at the laptop should know before the phones come."""
    now = own_addresses()
    lines = [f"  fingerprint of the authority (SHA-256)\n    {made.fingerprint}"]
    if made.new_root:
        lines.append("  A new authority: every phone takes its certificate in once.")
    if before and before != now:
        lines.append(
            f"  This machine's address has changed: {', '.join(now) or 'none'} (was {', '.join(before)}). "
            "Phones keep their certificate and need the new address only."
        )
    if made.not_covered:
        lines.append(
            f"  The authority may not vouch for {', '.join(made.not_covered)}: the certificate leaves it out. "
            "Addresses have to be private ones, such as those of the laptop's own hotspot; if the machine's name "
            "is new, start once with --new-authority."
        )
    lines.append(f"  certificate good until {made.leaf_until:%Y-%m-%d}, made anew at every start")
    sys.stdout.write("\n".join(lines) + "\n")


def _addresses_before(folder: Path) -> list[str]:
    """The addresses of the start before this one; notes down those of this one."""
    file = folder / "addresses"
    before = file.read_text(encoding="utf-8").split() if file.exists() else []
    file.write_text("\n".join(own_addresses()), encoding="utf-8")
    return before


def _let_in(names: list[str]) -> None:
    """Let the web process answer to these names, unless somebody said which."""
    if names[1:] and not os.environ.get("ALLOWED_HOSTS"):
        os.environ["ALLOWED_HOSTS"] = ",".join(dict.fromkeys([*settings.ALLOWED_HOSTS, *names]))


def _become_supervisor(arguments: list[str]) -> NoReturn:
    connections.close_all()
    sys.stdout.flush()
    sys.stderr.flush()
    os.chdir(settings.BASE_DIR)
    os.execv(sys.executable, [sys.executable, "-m", "shared.supervisor", *arguments])
