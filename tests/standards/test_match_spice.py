"""A whole match against ngspice: the transient analysis of the same robot, run live.

Reference robot: six motors with limits and back-EMF, a controller, a lamp, valves, a radio behind a regulator, a
main branch, a battery whose voltage follows its charge, with polarisation, and wires whose resistance follows
their temperature.
"""

from __future__ import annotations

import numpy as np
import pytest

from shared.electrical.match import MatchTrace, simulate
from tests.reference_robot import reference_battery, reference_robot, shifts
from tests.spice import MISSING, NGSPICE
from tests.spice_match import SpiceMatch, play

pytestmark = [pytest.mark.spice, pytest.mark.skipif(NGSPICE is None, reason=MISSING)]

SECONDS = 30.0


@pytest.fixture(scope="module")
def run():
    robot = reference_robot(6)
    return robot, reference_battery(), shifts(1, seed=4)


@pytest.fixture(scope="module")
def trace(run) -> MatchTrace:
    robot, battery, offsets = run
    return simulate(robot, [battery], offsets, duration_s=SECONDS, traces=[(0, 0)]).traces[0]


@pytest.fixture(scope="module")
def exact(run, tmp_path_factory) -> SpiceMatch:
    """Tolerance a thousandth of ngspice's own, steps of at most 2 ms; a tenth and half of that move it by 0.09 mV."""
    robot, battery, offsets = run
    folder = tmp_path_factory.mktemp("exact")
    return play(robot, battery, offsets[:, 0], SECONDS, folder, most_s=0.002, reltol=1e-6)


def at_the_same_times(trace: MatchTrace, found: SpiceMatch, name: str) -> np.ndarray:
    """What ngspice has at every point of the trace: of two at one time the first before its edge, then after."""
    again = np.concatenate([[False], np.diff(trace.time_s) == 0.0])
    times = trace.time_s + np.where(again, 2e-6, -1e-7)
    values: np.ndarray = np.interp(times[1:], found.time_s, getattr(found, name))
    return values


def test_the_whole_trace_agrees_within_one_percent(run, trace, tmp_path):
    """ngspice as it comes, with its own choice of steps and its default tolerance."""
    robot, battery, offsets = run
    found = play(robot, battery, offsets[:, 0], SECONDS, tmp_path)
    for name in ("battery_v", "board_v"):
        ours = getattr(trace, name)[1:]
        assert ours == pytest.approx(at_the_same_times(trace, found, name), rel=0.01), name
    # A current of a few ampere has no 1 % of its own: 1 % of the greatest.
    theirs = at_the_same_times(trace, found, "current_a")
    assert np.abs(trace.current_a[1:] - theirs).max() < 0.01 * theirs.max()
    assert theirs.max() > 60.0  # the robot does pull


def test_the_voltage_is_within_a_millivolt_of_a_converged_solution(trace, exact):
    assert np.abs(trace.board_v[1:] - at_the_same_times(trace, exact, "board_v")).max() < 1e-3
    assert np.abs(trace.battery_v[1:] - at_the_same_times(trace, exact, "battery_v")).max() < 1e-3


def test_the_lowest_voltage_and_its_moment(run, exact):
    robot, battery, offsets = run
    result = simulate(robot, [battery], offsets, duration_s=SECONDS)
    later = exact.time_s > 0.001  # it starts from nothing
    lowest = np.flatnonzero(later)[exact.board_v[later].argmin()]
    assert result.lowest_v[0, 0] == pytest.approx(exact.board_v[lowest], abs=1e-3)
    assert result.lowest_at_s[0, 0] == pytest.approx(exact.time_s[lowest], abs=0.01)
