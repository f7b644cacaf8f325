"""How long the three sweeps take against the floor of reading and writing the same rows.

python -m tests.bench.sweep [--robots 1000] [--batteries 10000] [--rounds 5]

Uses a SQLite file of its own, or with DATABASE_URL a test database of its own on that server. Floor and sweeps are
timed alternately in one process and their medians compared; the last line is JSON.
"""

from __future__ import annotations

import argparse
import json
import os
import statistics
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from functools import partial
from typing import Any

GOAL = 1.5


def main(arguments: list[str] | None = None) -> dict[str, Any]:
    options = _options(arguments)
    with _database() as vendor:
        result = _measure(options, vendor)
    print(json.dumps(result))
    return result


def _options(arguments: list[str] | None) -> argparse.Namespace:
    parser = argparse.ArgumentParser(prog="python -m tests.bench.sweep", description=__doc__)
    parser.add_argument("--robots", type=int, default=1000, help="of 60 circuits each")
    parser.add_argument("--batteries", type=int, default=10000, help="of 60 readings each")
    parser.add_argument("--rounds", type=int, default=5, help="of floor and sweeps in turn")
    return parser.parse_args(arguments)


@contextmanager
def _database() -> Iterator[str]:
    """A migrated database that is gone afterwards; yields the name of its kind."""
    with tempfile.TemporaryDirectory(prefix="loadstock-bench-") as folder:
        os.environ.setdefault("DJANGO_SETTINGS_MODULE", "shared.settings")
        os.environ.setdefault("DATA_DIR", folder)
        import django

        django.setup()
        from django.db import connection

        if connection.vendor == "sqlite":
            # A file, as in an installation: a database in memory would flatter both sides.
            connection.settings_dict["TEST"]["NAME"] = os.path.join(folder, "bench.sqlite3")
        name = connection.settings_dict["NAME"]
        connection.creation.create_test_db(verbosity=0, autoclobber=True, serialize=False)
        try:
            yield connection.vendor
        finally:
            connection.creation.destroy_test_db(name, verbosity=0)


def _measure(options: argparse.Namespace, vendor: str) -> dict[str, Any]:
    # Models can be imported only now that the settings are loaded.
    from django.utils import timezone

    from compliance.models import Flag, FlagEvent
    from tests.bench import floor
    from tests.bench.league import CIRCUITS, READINGS, build_league

    print(
        f"{options.robots:,} robots x {CIRCUITS} circuits, {options.batteries:,} batteries x {READINGS} readings, "
        f"{vendor}",
        file=sys.stderr,
    )
    built_s = _timed(
        lambda: build_league(robots=options.robots, batteries=options.batteries, now=timezone.now())
    )
    print(f"built in {built_s:.0f} s", file=sys.stderr)

    def clear() -> None:
        FlagEvent.objects.all().delete()
        Flag.objects.all()._raw_delete(using="default")

    first = _sweep("all")  # warms caches; its flags are what the floor writes
    flags = floor.flag_rows()
    times: dict[str, list[float]] = {"floor, read": [], "floor, write": [], "sweeps": [], "again": []}
    parts: dict[str, list[float]] = {"batteries": [], "loads": [], "stock": []}
    for _ in range(options.rounds):
        clear()
        times["floor, read"].append(_timed(floor.read_all))
        times["floor, write"].append(_timed(lambda: floor.write_flags(flags)))
        clear()
        times["sweeps"].append(_timed(lambda: _sweep("all")))
        times["again"].append(_timed(lambda: _sweep("all")))
        clear()
        for sweep, taken in parts.items():
            taken.append(_timed(partial(_sweep, sweep)))
    median = {name: statistics.median(taken) for name, taken in {**times, **parts}.items()}
    floor_s = statistics.median(
        read + write for read, write in zip(times["floor, read"], times["floor, write"], strict=True)
    )
    _print_table(median, floor_s)
    return {
        "name": "sweep",
        "ratio": round(median["sweeps"] / floor_s, 3),
        "goal": GOAL,
        "ratio_unchanged": round(median["again"] / median["floor, read"], 3),
        "floor_s": round(floor_s, 4),
        "sweeps_s": round(median["sweeps"], 4),
        "unchanged_s": round(median["again"], 4),
        **{f"{name}_s": round(median[name], 4) for name in parts},
        "flags": len(flags),
        "looked_at": {k: v for k, v in first.items() if k in ("circuits", "batteries", "readings", "parts")},
        "robots": options.robots,
        "batteries": options.batteries,
        "rounds": options.rounds,
        "database": vendor,
    }


def _sweep(name: str) -> dict[str, int]:
    """The real job, in this process; a failure of it is a failure of the measurement."""
    from shared.jobs import run_now

    run = run_now(f"sweep.{name}", trigger="command")
    if run.state != "done":
        raise RuntimeError(run.error)
    counts: dict[str, int] = run.counts
    return counts


def _timed(act: Callable[[], object]) -> float:
    start = time.perf_counter()
    act()
    return time.perf_counter() - start


def _print_table(median: dict[str, float], floor_s: float) -> None:
    print(f"{'median':<34}{'s':>9}{'x floor':>9}")
    lines = {
        "floor: rows read": median["floor, read"],
        "floor: flags written": median["floor, write"],
        "floor": floor_s,
        "three sweeps, all flags new": median["sweeps"],
        "  batteries alone": median["batteries"],
        "  loads alone": median["loads"],
        "  stock alone": median["stock"],
        "three sweeps, nothing changed": median["again"],
    }
    for name, taken in lines.items():
        print(f"{name:<34}{taken:>9.3f}{taken / floor_s:>9.2f}")


if __name__ == "__main__":
    main()
