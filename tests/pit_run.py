"""`manage.py pit` as a person starts it, on a data folder of its own, and a phone that took in its certificate."""

from __future__ import annotations

import os
import shutil
import signal
import sqlite3
import subprocess
import sys
from contextlib import closing
from pathlib import Path
from typing import Any

from playwright.sync_api import Browser, BrowserType

from tests import browsing
from tests.working import REPOSITORY, wait_for

OUT_OF_IT = {
    "DATABASE_URL",
    "REDIS_URL",
    "SECRET_KEY",
    "ALLOWED_HOSTS",
    "HTTPS_ONLY",
    "BEHIND_PROXY",
    "LOADSTOCK_MODE",
}


class PitRun:
    def __init__(self, folder: Path, port: int) -> None:
        self.folder, self.port = folder, port
        self.plain_port = port + 40
        self.log = folder / "pit.log"
        self.process: subprocess.Popen[bytes] | None = None

    @property
    def environment(self) -> dict[str, str]:
        kept = {name: value for name, value in os.environ.items() if name not in OUT_OF_IT}
        return {**kept, "DATA_DIR": str(self.folder)}

    @property
    def site(self) -> str:
        return f"https://127.0.0.1:{self.port}"

    @property
    def plain(self) -> str:
        return f"http://127.0.0.1:{self.plain_port}"

    def manage(self, *arguments: str) -> str:
        done = subprocess.run(
            [sys.executable, "manage.py", *arguments],
            cwd=REPOSITORY,
            env=self.environment,
            capture_output=True,
            text=True,
            check=False,
        )
        assert done.returncode == 0, done.stderr
        return done.stdout

    def start(self, *options: str) -> str:
        """Until it answers; returns what it said."""
        ports = ["--port", str(self.port), "--plain-port", str(self.plain_port)]
        with self.log.open("wb") as out:
            self.process = subprocess.Popen(
                [sys.executable, "manage.py", "pit", "--host", "127.0.0.1", *ports, *options],
                cwd=REPOSITORY,
                env=self.environment,
                stdout=out,
                stderr=subprocess.STDOUT,
            )
        process = self.process
        wait_for(
            lambda: "steps for phones" in self.said() or process.poll() is not None,
            within_s=120,
            what="Ready",
        )
        assert process.poll() is None, self.said()
        assert "is taken" not in self.said(), "these tests need their ports"
        return self.said()

    def said(self) -> str:
        return self.log.read_text()

    def stop(self) -> None:
        if self.process is not None and self.process.poll() is None:
            self.process.send_signal(signal.SIGTERM)
            self.process.wait(timeout=30)

    def rows(self, query: str) -> list[tuple[Any, ...]]:
        """Straight from its database."""
        with closing(sqlite3.connect(self.folder / "loadstock.sqlite3", timeout=20)) as base:
            return base.execute(query).fetchall()

    def phone(self, kind: BrowserType, *switches: str) -> Browser:
        """A browser that trusts the pit's root, in a certificate store of its own."""
        home = self.folder / "phone"
        store = home / ".pki" / "nssdb"
        if not store.exists():
            store.mkdir(parents=True)
            certutil("-d", f"sql:{store}", "-N", "--empty-password")
            certutil(
                "-d",
                f"sql:{store}",
                "-A",
                "-t",
                "C,,",
                "-n",
                "pit",
                "-i",
                str(self.folder / "pit" / "root.pem"),
            )
        return browsing.launch(kind, *switches, env={**os.environ, "HOME": str(home)})


def certutil(*arguments: str) -> None:
    program = shutil.which("certutil")
    if program is None:
        raise RuntimeError("No certutil: install the package libnss3-tools.")
    subprocess.run([program, *arguments], check=True)
