"""From a bare Python to a running command: make .venv, install the pinned packages, start again inside.

Standard library only. It steps aside at once when the running Python already has every pinned package.
"""

from __future__ import annotations

import hashlib
import importlib.metadata
import json
import os
import re
import shutil
import subprocess
import sys
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from typing import NoReturn

try:
    import fcntl

    HAVE_LOCKS = True
except ImportError:  # not on every system; there, two starts at once are not defended against
    HAVE_LOCKS = False

MIN_PYTHON = (3, 11)
BASE = os.path.dirname(os.path.dirname(os.path.abspath(__file__)))
VENV = os.path.join(BASE, ".venv")
PYTHON = os.path.join(VENV, "bin", "python")
STAMP = os.path.join(VENV, "loadstock-pins.json")
UNFINISHED = os.path.join(VENV, "loadstock-unfinished")
LOCK = os.path.join(BASE, ".local", "setup.lock")
PIN_SETS = ("app", "dev")  # dev holds everything of app and more


class SetupError(Exception):
    """Why the environment could not be made, as a sentence for a person."""


def ensure(arguments: Sequence[str]) -> None:
    """Return when this Python can run the command; otherwise set up and start again inside .venv."""
    wanted = "dev" if arguments[:1] == ["test"] else "app"
    inside = os.path.realpath(sys.prefix) == os.path.realpath(VENV)
    if (inside and stamp_matches(wanted)) or has_pins(pin_file(wanted)):
        return
    try:
        with one_at_a_time():  # another start may have done it while we waited
            if not stamp_matches(wanted):
                set_up(wanted)
    except SetupError as problem:
        sys.exit(f"Loadstock could not set itself up: {problem}")
    except KeyboardInterrupt:
        sys.exit("\nStopped during set-up; the next start goes on from here.")
    start_again(PYTHON, [os.path.join(BASE, "manage.py"), *arguments])


def run_tests(arguments: Sequence[str]) -> NoReturn:
    """Become pytest. Servers named in the environment stay out of it unless the run asks for them."""
    if os.environ.get("LOADSTOCK_TEST_SERVICES") != "1":
        for name in ("DATABASE_URL", "REDIS_URL", "LOADSTOCK_MODE", "CELERY_BROKER_URL"):
            os.environ.pop(name, None)
    os.chdir(BASE)
    start_again(sys.executable, ["-m", "pytest", *arguments])


def start_again(python: str, command: Sequence[str]) -> NoReturn:
    """Replace this process, so that signals and the exit status are the command's own."""
    sys.stdout.flush()
    sys.stderr.flush()
    os.execv(python, [python, *command])


# --- What is there -----------------------------------------------------------------------------------


def pin_file(name: str) -> str:
    return os.path.join(BASE, "shared", "requirements", name + ".txt")


def checksum(name: str) -> str:
    with open(pin_file(name), "rb") as pins:
        return hashlib.sha256(pins.read()).hexdigest()


def read_stamp() -> dict[str, str]:
    """The stamp of a finished installation, or {} when there is none that can be read."""
    try:
        with open(STAMP, encoding="utf-8") as stamp:
            found = json.load(stamp)
    except (OSError, ValueError):
        return {}
    return found if isinstance(found, dict) and os.access(PYTHON, os.X_OK) else {}


def stamp_matches(wanted: str) -> bool:
    """Whether .venv holds the pins of `wanted`, or of a larger set, as the files now are."""
    stamp = read_stamp()
    have = stamp.get("set", "")
    return have in PIN_SETS[PIN_SETS.index(wanted) :] and stamp.get("checksum") == checksum(have)


def read_pins(path: str) -> Iterator[tuple[str, str, bool]]:
    """(name, version, holds only on some platforms) of each pin in a requirements file."""
    with open(path, encoding="utf-8") as pins:
        for line in pins:
            match = re.match(r"([A-Za-z0-9._-]+)(?:\[[^\]]*\])?==([^\s;\\]+)\s*(;?)", line)
            if match:
                yield match.group(1), match.group(2), bool(match.group(3))


def has_pins(path: str) -> bool:
    """Whether the running Python has each pinned version; pins for some platforms only are passed over."""
    try:
        return all(
            importlib.metadata.version(name) == version
            for name, version, only_some in read_pins(path)
            if not only_some
        )
    except importlib.metadata.PackageNotFoundError:
        return False


# --- Setting up --------------------------------------------------------------------------------------


@contextmanager
def one_at_a_time() -> Iterator[None]:
    """A lock between two starts at once. It is the system's, so it goes with the processes that hold it.
    pip inherits it: a start that was killed does not let the next one in while its pip still writes."""
    if not HAVE_LOCKS:
        yield
        return
    try:
        os.makedirs(os.path.dirname(LOCK), exist_ok=True)
        lock = open(LOCK, "a", encoding="utf-8")  # noqa: SIM115 - closed below, outside this try
    except OSError as problem:
        raise SetupError(f"this folder must be writable ({problem}).") from None
    with lock:
        try:
            fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            say("Another start is setting up; waiting for it.")
            fcntl.flock(lock, fcntl.LOCK_EX)
        os.set_inheritable(lock.fileno(), True)
        yield


def say(text: str) -> None:
    sys.stdout.write(text + "\n")
    sys.stdout.flush()


def set_up(wanted: str) -> None:
    if read_stamp().get("set") == "dev":
        wanted = "dev"  # never take the test tools away again
    start = time.monotonic()
    say("Setting up in .venv (first start, or the pinned packages changed):")
    if os.path.exists(UNFINISHED):  # a package cut short can look installed, so nothing of it is kept
        shutil.rmtree(VENV)
    make_environment()
    with open(UNFINISHED, "w", encoding="utf-8"):
        pass
    if os.path.exists(STAMP):
        os.remove(STAMP)
    install(wanted)
    mark(wanted)
    say(f"  ready after {time.monotonic() - start:.0f} s")


def make_environment() -> None:
    """A virtual environment with a working pip; one left half made is made again."""
    if environment_works():
        return
    start = time.monotonic()
    made = subprocess.run(
        [sys.executable, "-m", "venv", "--clear", VENV],
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        check=False,
    )
    if made.returncode != 0 or not environment_works():
        text = made.stdout.decode(errors="replace").strip()
        shutil.rmtree(VENV, ignore_errors=True)
        if "ensurepip" in text:
            raise SetupError(
                "this Python cannot make virtual environments. On Debian and Ubuntu: "
                "apt install python3-venv (as root), then start again."
            )
        raise SetupError(f"'{sys.executable} -m venv' failed: {text or 'no message'}")
    say_step("environment made", start)


def environment_works() -> bool:
    if not os.access(PYTHON, os.X_OK):
        return False
    test = f"import pip, sys; sys.exit(sys.version_info < {MIN_PYTHON!r})"
    quiet = subprocess.DEVNULL
    return subprocess.run([PYTHON, "-c", test], stdout=quiet, stderr=quiet, check=False).returncode == 0


def pip_command(path: str) -> list[str]:
    """Hashes: a package whose bytes differ from the pinned ones is refused. Every pin is in the file, so
    nothing is to be resolved; and Python compiles what is used when it is used."""
    options = ["--require-hashes", "--no-deps", "--no-compile", "--progress-bar", "off", "-r", path]
    return [PYTHON, "-m", "pip", "--disable-pip-version-check", "--no-input", "install", *options]


def install(name: str) -> None:
    path = pin_file(name)
    progress = Progress(sum(1 for _ in read_pins(path)))
    pip = subprocess.Popen(
        pip_command(path),
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
        errors="replace",
        close_fds=False,
    )
    last: list[str] = []
    try:
        for line in pip.stdout or ():
            last = [*last, line.rstrip()][-15:]
            progress.see(line)
        code = pip.wait()
    except BaseException:
        pip.terminate()
        pip.wait()
        raise
    if code != 0:
        words = "\n  ".join(last)
        raise SetupError(
            f"pip could not install {os.path.relpath(path, BASE)}; its last words:\n  {words}\n"
            "Is a package registry reachable from here? The next start tries again."
        )
    say_step("packages installed", progress.start)


class Progress:
    """Turns pip's lines into a count, said every few seconds."""

    EVERY_S = 5.0

    def __init__(self, total: int) -> None:
        self.total, self.seen = total, 0
        self.start = self.said = time.monotonic()

    def see(self, line: str) -> None:
        if line.startswith(("Collecting", "Requirement already satisfied", "Ignoring")):
            self.seen += 1
            if time.monotonic() - self.said > self.EVERY_S:
                self.said = time.monotonic()
                say_step(f"packages fetched, {self.seen} of {self.total}", self.start)
        elif line.startswith("Installing collected packages"):
            say_step("packages fetched, unpacking them", self.start)


def say_step(text: str, start: float) -> None:
    say(f"  {text:<35} {time.monotonic() - start:5.1f} s")


def mark(name: str) -> None:
    """Written last and in one step: where a stamp is, a whole installation is."""
    draft = STAMP + ".new"
    with open(draft, "w", encoding="utf-8") as stamp:
        json.dump({"set": name, "checksum": checksum(name), "python": sys.version.split()[0]}, stamp)
    os.replace(draft, STAMP)
    if os.path.exists(UNFINISHED):
        os.remove(UNFINISHED)
