"""The embedded run as a person starts it: one command, three children, no orphan, and it recovers.

Takes real processes and some ten seconds, so it runs with the worker tests.
"""

from __future__ import annotations

import os
import signal
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.request
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from shared import supervisor
from tests.working import REPOSITORY, wait_for

CHILDREN = {"gunicorn": "web", "worker": "jobs", "beat": "beat"}
OUT_OF_IT = {"DATABASE_URL", "REDIS_URL", "SECRET_KEY", "ALLOWED_HOSTS", "HTTPS_ONLY", "BEHIND_PROXY"}


def processes_below(pid: int) -> dict[int, str]:
    """pid -> command line of everything a process started, at any depth."""
    parents, commands = {}, {}
    for folder in Path("/proc").glob("[0-9]*"):
        try:
            fields = (folder / "stat").read_text().rpartition(")")[2].split()
            commands[int(folder.name)] = (folder / "cmdline").read_text().replace("\0", " ")
        except (FileNotFoundError, ProcessLookupError):
            continue  # it ended while we looked
        if fields[0] != "Z":
            parents[int(folder.name)] = int(fields[1])
    found, frontier = {}, {pid}
    while frontier:
        frontier = {child for child, parent in parents.items() if parent in frontier}
        found.update({child: commands[child] for child in frontier})
    return found


def names_of(processes: dict[int, str]) -> set[str]:
    return {
        name for command in processes.values() for word, name in CHILDREN.items() if f" {word}" in command
    }


def is_gone(pid: int) -> bool:
    try:
        return (Path("/proc") / str(pid) / "stat").read_text().rpartition(")")[2].split()[0] == "Z"
    except (FileNotFoundError, ProcessLookupError):
        return True


def own_environment() -> dict[str, str]:
    return {name: value for name, value in os.environ.items() if name not in OUT_OF_IT}


class Run:
    """`manage.py up` on a data folder of its own."""

    def __init__(self, data_dir: Path, *options: str) -> None:
        self.log = data_dir / "up.log"
        with self.log.open("wb") as out:
            self.process = subprocess.Popen(
                [sys.executable, "manage.py", "up", *options],
                cwd=REPOSITORY,
                env={**own_environment(), "DATA_DIR": str(data_dir)},
                stdout=out,
                stderr=subprocess.STDOUT,
            )

    def said(self) -> str:
        return self.log.read_text()

    def wait_until_ready(self) -> str:
        """The address it printed."""
        wait_for(lambda: "Ready" in self.said() or self.process.poll() is not None, within_s=60, what="Ready")
        assert self.process.poll() is None, self.said()
        wait_for(lambda: len(names_of(self.children())) == 3, within_s=10, what="three children")
        return self.said().split("Ready", 1)[1].split()[3]

    def children(self) -> dict[int, str]:
        return processes_below(self.process.pid)


@pytest.fixture
def up(tmp_path) -> Iterator[Callable[..., Run]]:
    runs: list[Run] = []

    def start(*options: str) -> Run:
        runs.append(Run(tmp_path, *options))
        return runs[-1]

    yield start
    for run in runs:
        if run.process.poll() is None:
            run.process.kill()
            run.process.wait()


def status(address: str) -> int:
    try:
        with urllib.request.urlopen(address, timeout=10) as answer:
            return int(answer.status)
    except urllib.error.HTTPError as refused:
        return refused.code


@pytest.mark.worker
@pytest.mark.parametrize("sign", [signal.SIGINT, signal.SIGTERM])
def test_it_serves_and_ends_with_all_its_children(up, sign):
    run = up("--port", "8411")
    assert status(run.wait_until_ready()) < 500
    children = run.children()
    begun = time.monotonic()
    run.process.send_signal(sign)
    assert run.process.wait(timeout=15) == 0
    assert time.monotonic() - begun < 10
    assert [command for pid, command in children.items() if not is_gone(pid)] == []
    assert "the data is kept" in run.said()


@pytest.mark.worker
def test_killed_children_come_back_and_none_outlives_a_killed_parent(up):
    run = up("--port", "8421")
    address = run.wait_until_ready()
    before = run.children()
    for pid in before:
        os.kill(pid, signal.SIGKILL)
    wait_for(
        lambda: len(names_of(run.children())) == 3 and not before.keys() & run.children().keys(),
        within_s=20,
        what="three new children",
    )
    port = int(address.rstrip("/").rpartition(":")[2])
    wait_for(
        lambda: supervisor.answers("127.0.0.1", port), within_s=20, what="an answer from the new web child"
    )
    assert run.said().count("starting it again") == 3
    children = run.children()
    run.process.kill()
    run.process.wait()
    wait_for(lambda: all(map(is_gone, children)), within_s=15, what="no orphan")


@pytest.mark.worker
def test_a_taken_port_is_stepped_over_and_a_second_run_on_the_data_refused(up):
    with socket.create_server(("127.0.0.1", 8431)):
        first = up("--port", "8431")
        address = first.wait_until_ready()
        assert address == "http://127.0.0.1:8432/"
        assert "Port 8431 is taken; using 8432." in first.said()
        second = subprocess.run(
            [sys.executable, "manage.py", "up"],
            cwd=REPOSITORY,
            env={**own_environment(), "DATA_DIR": str(first.log.parent)},
            capture_output=True,
            text=True,
            check=False,
        )
    assert second.returncode == 1
    assert f"already runs on {first.log.parent} (process {first.process.pid})" in second.stderr


def test_listening_takes_the_next_free_port():
    with socket.create_server(("127.0.0.1", 0)) as holder:
        taken = holder.getsockname()[1]
        with supervisor.listen("127.0.0.1", taken) as listener:
            assert listener.getsockname()[1] != taken


def test_a_child_that_keeps_failing_is_started_ever_more_slowly(monkeypatch, capsys):
    child = supervisor.Child("jobs", [sys.executable, "-c", "raise SystemExit(3)"], dict(os.environ))
    now, pauses = 0.0, []
    child.start_at = 0.0
    for _ in range(8):
        child.tend(now)
        assert child.process is not None
        child.process.wait()
        child.tend(now)
        pauses.append(child.start_at - now)
        now = child.start_at
    assert pauses == [1, 2, 4, 8, 16, 30, 30, 30]
    assert "jobs ended (exit status 3); starting it again in 1 s" in capsys.readouterr().out


def test_a_child_that_ran_long_enough_starts_again_at_once():
    child = supervisor.Child("web", [sys.executable, "-c", ""], dict(os.environ), failures=5, start_at=0.0)
    child.tend(0.0)
    assert child.process is not None
    child.process.wait()
    child.tend(supervisor.STEADY_S + 1)
    assert (child.failures, child.start_at) == (0, supervisor.STEADY_S + 1)
