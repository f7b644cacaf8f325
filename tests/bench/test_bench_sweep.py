"""The benchmark runs, on a small league, and its last line is what a reader of it expects."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

REPOSITORY = Path(__file__).resolve().parents[2]


def test_a_small_league_is_measured(tmp_path):
    # A process of its own: it makes a database of its own, as it does for whoever calls it.
    done = subprocess.run(
        [sys.executable, "-m", "tests.bench.sweep", "--robots", "11", "--batteries", "20", "--rounds", "1"],
        cwd=REPOSITORY,
        env={"PATH": os.environ["PATH"], "DATA_DIR": str(tmp_path)},
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    last = json.loads(done.stdout.splitlines()[-1])
    assert (last["name"], last["robots"], last["batteries"], last["database"]) == ("sweep", 11, 20, "sqlite")
    looked_at = last["looked_at"]
    assert looked_at.pop("parts") > 10
    assert looked_at == {"batteries": 20, "readings": 1200, "circuits": 660}
    # Some four in a hundred branches are at fault; the generator is seeded.
    assert 15 < last["flags"] < 60
    assert last["ratio"] > 0
    assert "three sweeps, nothing changed" in done.stdout
