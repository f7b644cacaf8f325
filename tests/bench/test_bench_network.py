"""The benchmark runs, on a few robots, and its last line is what a reader of it expects."""

from __future__ import annotations

import json

import pytest

from tests.bench import network


@pytest.mark.spice
def test_a_few_robots_are_measured(capsys):
    result = network.main(["--robots", "4", "--rounds", "1"])
    out = capsys.readouterr().out
    assert json.loads(out.splitlines()[-1]) == result
    assert (result["name"], result["robots"]) == ("network", 4)
    assert result["agreement"] < 1e-9
    # Four robots say little about speed; even so the slower of two layouts is far ahead.
    assert result["speedup_any_trees"] > 10
    assert 1 < result["one_robot_us"] < 1000
    assert "the same in three scenarios" in out
