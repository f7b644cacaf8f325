"""The rotation benchmark runs, on short days, and its last line is what a reader of it expects."""

from __future__ import annotations

import json

from tests.bench import rotation


def test_short_days_are_measured(capsys):
    result = rotation.main(["--days", "2", "--batteries", "5", "--matches", "6", "--chargers", "2"])
    printed = capsys.readouterr().out.splitlines()
    assert json.loads(printed[-1]) == result
    assert result["name"] == "rotation"
    assert result["proven"] is True
    assert 0.0 < result["median_s"] <= result["seconds"]
    assert 0.0 < result["replan_median_s"] <= result["replan_seconds"]
    assert any(line.startswith("a battery is pulled") for line in printed)
