"""What the jobs of tests/shared/test_jobs_slices.py do."""

from __future__ import annotations

from typing import Any

from shared.jobs import Unfinished
from shared.models import JobRun

done: list[str] = []


def long(run: JobRun) -> dict[str, Any] | Unfinished:
    counts = {"slices": run.counts.get("slices", 0) + 1}
    done.append(f"slice {counts['slices']}")
    return counts if counts["slices"] >= run.arguments["slices"] else Unfinished(counts)


def short(run: JobRun) -> dict[str, Any]:
    done.append("short")
    return {}
