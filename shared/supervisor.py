"""The embedded run's parent: keeps web, jobs and beat going as its children and takes them down with it.

Standard library only, so that the process which merely waits stays small.
Started by shared.embedded as `python -m shared.supervisor HOST PORT [OTHER NAMES OF THIS MACHINE]`; for the pit with
the folder of its certificates, two sockets that listen already, and the folder of the plain page.
"""

from __future__ import annotations

import argparse
import ctypes
import http.client
import os
import signal
import socket
import ssl
import subprocess
import sys
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from types import FrameType

PR_SET_PDEATHSIG = 1  # prctl(2)
PORTS_TRIED = 20
GRACE_S = 8.0  # from the request to end until a child is killed; a job it held is taken up by the next start
STEADY_S = 60.0  # a child that lived this long starts afresh in the count of failures
LONGEST_PAUSE_S = 30.0
TICK_S = 0.2


def listen(host: str, port: int) -> socket.socket:
    """A listening socket on the port asked for, or on the next free one."""
    for candidate in [*range(port, port + PORTS_TRIED), 0]:
        family = socket.AF_INET6 if ":" in host else socket.AF_INET
        listener = socket.socket(family, socket.SOCK_STREAM)
        listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            listener.bind((host, candidate))
        except PermissionError:
            sys.exit(
                f"Port {candidate} is for the system's own services; choose one from 1024 on with --port."
            )
        except OSError as problem:
            listener.close()
            if candidate == 0:
                sys.exit(f"No free port on {host} ({problem}); choose another address with --host.")
            continue
        listener.listen(128)
        bound = listener.getsockname()[1]
        if bound != port:
            say(f"Port {port} is taken; using {bound}.")
        return listener
    raise AssertionError("port 0 is always tried last")


def die_with(parent: int) -> Callable[[], None]:
    """Run in the child before its program starts: ask the kernel to end it when the parent is gone."""
    prctl = ctypes.CDLL(None).prctl if sys.platform == "linux" else None

    def ask() -> None:
        if prctl is not None:
            prctl(PR_SET_PDEATHSIG, signal.SIGTERM)
            if os.getppid() != parent:  # the parent died before we could ask
                os._exit(1)

    return ask


@dataclass
class Child:
    """One kept process: started again when it ends, after a pause that doubles while it keeps failing."""

    name: str
    command: list[str]
    environment: dict[str, str]
    pass_fds: Sequence[int] = ()
    process: subprocess.Popen[bytes] | None = None
    started: float = 0.0
    failures: int = 0
    start_at: float = field(default_factory=time.monotonic)

    def start(self, now: float) -> None:
        self.started = now
        self.process = subprocess.Popen(
            self.command,
            env=self.environment,
            pass_fds=self.pass_fds,
            stdin=subprocess.DEVNULL,
            # Its own session: Ctrl-C in the terminal reaches the parent alone, which ends the three in order.
            start_new_session=True,
            preexec_fn=die_with(os.getpid()),  # noqa: PLW1509 - the parent has one thread
        )

    def tend(self, now: float) -> None:
        """Start it when due; notice its end and plan the next start."""
        if self.process is None:
            if now >= self.start_at:
                self.start(now)
            return
        code = self.process.poll()
        if code is None:
            return
        self.failures = 0 if now - self.started > STEADY_S else self.failures + 1
        pause_s = min(LONGEST_PAUSE_S, 2.0 ** (self.failures - 1)) if self.failures else 0.0
        say(
            f"{self.name} ended ({how_it_ended(code)}); starting it again"
            + (f" in {pause_s:.0f} s" if pause_s else "")
        )
        self.process, self.start_at = None, now + pause_s

    def end(self, sign: signal.Signals) -> None:
        if self.process is not None and self.process.poll() is None:
            self.process.send_signal(sign)


def how_it_ended(code: int) -> str:
    return f"signal {signal.Signals(-code).name}" if code < 0 else f"exit status {code}"


def say(text: str) -> None:
    sys.stdout.write(f"{text}\n")
    sys.stdout.flush()


def children(listener: socket.socket, tls: Path | None = None) -> list[Child]:
    """Web, jobs and beat. Beat is a process of its own: inside the worker it outlives a killed one."""
    celery = [sys.executable, "-m", "celery", "--quiet", "--app", "shared.celery"]
    web = [sys.executable, "-m", "gunicorn", "shared.wsgi", "--bind", f"fd://{listener.fileno()}"]
    web += ["--workers", "1", "--threads", "8", "--timeout", "120", "--graceful-timeout", "5"]
    web += ["--no-control-socket", "--log-level", "warning"]
    if tls is not None:
        web += ["--certfile", str(tls / "leaf.pem"), "--keyfile", str(tls / "leaf.key")]
    # The three "without" spare talk between workers, of which there is one.
    jobs = [*celery, "worker", "--pool", "solo", "--loglevel", "WARNING"]
    jobs += ["--without-gossip", "--without-mingle", "--without-heartbeat"]
    environment = dict(os.environ)
    return [
        Child("web", web, environment, pass_fds=[listener.fileno()]),
        Child("jobs", jobs, environment),
        Child("beat", [*celery, "beat", "--pidfile=", "--loglevel", "WARNING"], environment),
    ]


class Supervisor:
    def __init__(self, kept: list[Child], when_ready: Callable[[], bool]) -> None:
        self.kept, self.when_ready = kept, when_ready
        self.ending = False

    def stop(self, signum: int, frame: FrameType | None) -> None:
        self.ending = True

    def run(self) -> None:
        for sign in (signal.SIGINT, signal.SIGTERM, signal.SIGHUP):
            signal.signal(sign, self.stop)
        ready = False
        while not self.ending:
            for child in self.kept:
                child.tend(time.monotonic())
            ready = ready or self.when_ready()
            time.sleep(TICK_S)
        self.end()

    def end(self) -> None:
        """Ask all to finish, wait, and kill what has not finished in time."""
        say("Ending: the job in hand may finish ...")
        start = time.monotonic()
        for child in self.kept:
            child.end(signal.SIGTERM)
        running = [child.process for child in self.kept if child.process is not None]
        while any(process.poll() is None for process in running) and time.monotonic() - start < GRACE_S:
            time.sleep(0.05)
        for child in self.kept:
            child.end(signal.SIGKILL)
        for process in running:
            process.wait()
        say(f"Ended after {time.monotonic() - start:.1f} s; the data is kept.")


def plain_page(listener: socket.socket, folder: Path) -> Child:
    """The page that hands the pit's certificate to phones, which cannot open the https site before."""
    command = [sys.executable, "-m", "shared.pit.plain", str(listener.fileno()), str(folder)]
    return Child("plain page", command, dict(os.environ), pass_fds=[listener.fileno()])


def answers(host: str, port: int, tls: Path | None = None) -> bool:
    """Whether the web child gives any answer yet; over https one that the pit's own root vouches for."""
    connection = http.client.HTTPConnection(host, port, timeout=2.0)
    if tls is not None:
        context = ssl.create_default_context(cafile=str(tls / "root.pem"))
        connection = http.client.HTTPSConnection(host, port, timeout=2.0, context=context)
    try:
        connection.request("GET", "/healthz")
        connection.getresponse().read()
    except (OSError, http.client.HTTPException):
        return False
    finally:
        connection.close()
    return True


@dataclass(frozen=True)
class Pit:
    """What the run over https has beside the plain one."""

    tls: Path
    plain: socket.socket
    site: Path


def main(host: str, listener: socket.socket, other_names: Sequence[str] = (), pit: Pit | None = None) -> None:
    start = time.monotonic()
    bound = listener.getsockname()[1]
    local = {"0.0.0.0": "127.0.0.1", "::": "::1"}.get(host, host)  # noqa: S104 - compared, not bound
    shown = f"[{local}]" if ":" in local else local
    tls, scheme = (pit.tls, "https") if pit else (None, "http")

    def when_ready() -> bool:
        if not answers(local, bound, tls):
            return False
        say(f"Ready after {time.monotonic() - start:.1f} s: {scheme}://{shown}:{bound}/   (Ctrl-C ends it)")
        for name in other_names:
            say(f"From other machines on the network: {scheme}://{name}:{bound}/")
        if pit is not None:
            for name in ("127.0.0.1", *other_names):
                say(f"Certificate and steps for phones: http://{name}:{pit.plain.getsockname()[1]}/")
        return True

    kept = children(listener, tls)
    if pit is not None:
        kept.append(plain_page(pit.plain, pit.site))
    say("Starting web, jobs and beat ...")
    Supervisor(kept, when_ready).run()


def asked(arguments: Sequence[str]) -> argparse.Namespace:
    parser = argparse.ArgumentParser()
    parser.add_argument("host")
    parser.add_argument("port", type=int)
    parser.add_argument("names", nargs="*")
    parser.add_argument("--tls", type=Path)
    parser.add_argument("--plain-site", type=Path)
    parser.add_argument("--web-fd", type=int)
    parser.add_argument("--plain-fd", type=int)
    return parser.parse_args(arguments)


if __name__ == "__main__":
    given = asked(sys.argv[1:])
    if given.tls is None:
        taken = listen(given.host, given.port)
        main(given.host, taken, given.names)
    else:
        web, plain = socket.socket(fileno=given.web_fd), socket.socket(fileno=given.plain_fd)
        main(given.host, web, given.names, Pit(given.tls, plain, given.plain_site))
