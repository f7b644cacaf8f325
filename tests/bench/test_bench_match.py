"""The match benchmark runs, on a short match of a small robot, and its last line is what a reader of it expects."""

from __future__ import annotations

import json

import pytest

from tests.bench import match
from tests.spice import MISSING, NGSPICE

pytestmark = [pytest.mark.spice, pytest.mark.skipif(NGSPICE is None, reason=MISSING)]


def test_a_short_match_is_measured(capsys):
    result = match.main(["--seconds", "2", "--runs", "4", "--rounds", "1", "--motors", "3"])
    printed = capsys.readouterr().out.splitlines()
    assert json.loads(printed[-1]) == result
    assert result["name"] == "match"
    assert set(result["match_ms"]) == {"1", "4"}
    assert result["speedup"] > 0.0
    # Three motors on their own run up faster in volts than twenty that share a battery.
    assert 0.0 < result["error_mv"] < 2.0
    assert any(line.startswith("ngspice, fixed wires") for line in printed)
