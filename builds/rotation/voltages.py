"""The lowest board voltage to expect of each robot with each battery at each state of charge.

Of simulated matches it is the fifth percentile of the lowest board voltages: one match in twenty falls lower, which is
the match to plan for, while the worst of all runs hangs on one unlucky moment. A lower charge moves it by what it moves
the solved push. Without a study it is the solved push alone, moved by what studies of the other batteries differ from
their push, so that batteries with and without a study can be compared. A battery never measured is taken to be as weak
as the weakest measured one.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from django.db.models import QuerySet
from django.db.models.fields.json import KeyTransform

from builds.electrical import CircuitColumns, load_circuits
from builds.match_study import study_inputs
from builds.models import Build, BuildState, MatchStudy
from builds.network import Assembled, Scenario, assemble
from builds.rotation.judged import Judged
from builds.studies.base import POSTS, levels_of, only
from inventory.models import BatteryModel
from inventory.selectors.battery_sources import BatterySource, battery_sources, rest_v_at
from shared.access import Scope
from shared.columns import FloatArray
from shared.electrical.network import Solution, Sources, solve

#: The share of simulated matches that falls lower than what is planned with.
STUDY_PERCENTILE = "p05"
STUDY_FRAC = 0.05
MEDIAN = "p50"

STUDY, PUSH, STAND_IN, NEW, NONE = "study", "push", "stand-in", "new", "none"


@dataclass(frozen=True)
class RobotVolts:
    """One robot. ``lowest_v`` [V], batteries x levels; ``source``: what each battery's row rests on.

    ``usual_v``: how much less low the median of simulated matches is than what is planned with, 0 without any: what is
    measured afterwards is compared with that.
    """

    robot_id: int
    lowest_v: FloatArray
    source: tuple[str, ...]
    limit_v: float
    limit_words: str
    usual_v: float = 0.0


@dataclass(frozen=True)
class Volts:
    """Robots that have a network, with the batteries of the cart in its order."""

    robots: Mapping[int, RobotVolts]
    batteries: tuple[int, ...]

    def of(self, robot_id: int, batteries: int, levels: int) -> RobotVolts:
        """A robot's voltages; without a network all batteries are alike: nothing to spare and nothing short."""
        found = self.robots.get(robot_id)
        if found is not None:
            return found
        flat = np.zeros((batteries, levels))
        return RobotVolts(robot_id, flat, (NONE,) * batteries, 0.0, "")


def expected_volts(
    scope: Scope,
    robot_ids: Sequence[int],
    battery_ids: Sequence[int],
    levels: Sequence[float],
    judged: Judged,
) -> Volts:
    """Robots by id, with these batteries at these states of charge; a fixed number of queries."""
    builds = scope.rows(Build).filter(robot_id__in=robot_ids, state=BuildState.CURRENT).order_by("pk")
    rows = load_circuits(builds)
    told = list(builds.select_related("battery_model"))
    if not told:
        return Volts({}, tuple(battery_ids))
    ids = rows.builds.table.ids("id").tolist()
    net = assemble(rows, push=np.array([judged.push_of(pk) for pk in ids], dtype=np.int64))
    sources = {source.battery.pk: source for source in battery_sources(scope)}
    mine = [sources.get(pk) for pk in battery_ids]
    by_id = {build.pk: build for build in told}
    robots = [by_id[ids[row]] for row in net.build_row.tolist()]
    push, done = _pushed(net, robots, mine, levels)
    studied = _studied(scope, builds, battery_ids, rows)
    return Volts(
        {
            build.robot_id: _robot(net, done, r, build, push[r], studied.get(build.pk, {}), battery_ids)
            for r, build in enumerate(robots)
        },
        tuple(battery_ids),
    )


def _pushed(
    net: Assembled,
    robots: Sequence[Build],
    batteries: Sequence[BatterySource | None],
    levels: Sequence[float],
) -> tuple[FloatArray, Solution]:
    """Board voltage in the push, robots x (batteries, then a new one) x levels; NaN where a battery is not known.

    One solution for all: its columns are batteries times levels. A collapse is 0 V.
    """
    wide, count = len(batteries) + 1, len(levels)
    open_v, ohm = (np.full((len(robots), wide, count), np.nan) for _ in range(2))
    for b, source in enumerate(batteries):
        if source is None or source.internal_ohm is None:
            continue
        volts = _rest_volts(source.battery.model, source.open_v, levels)
        open_v[:, b] = volts
        ohm[:, b] = source.internal_ohm + net.as_new.leads_ohm[:, None]
    for r, build in enumerate(robots):
        open_v[r, -1] = _rest_volts(build.battery_model, float(net.as_new.open_v[r]), levels)
        ohm[r, -1] = net.as_new.internal_ohm[r]
    known = ~(np.isnan(open_v) | np.isnan(ohm))
    flat = (len(robots), wide * count)
    given = Sources(np.where(known, open_v, 12.0).reshape(flat), np.where(known, ohm, 1e-3).reshape(flat))
    done = solve(net.tree, given, only(net.loads, Scenario.PUSH))
    at_board = done.load_v[np.maximum(net.board, 0)] if net.branches else done.battery_v
    board = np.where((net.board == POSTS)[:, None], done.battery_v, at_board).reshape(open_v.shape)
    return np.where(known, np.nan_to_num(board), np.nan), done


def _rest_volts(model: BatteryModel | None, full_v: float, levels: Sequence[float]) -> list[float]:
    """At rest at each state of charge; NaN where nobody tells it."""
    if model is None:
        return [full_v if level >= 1.0 else math.nan for level in levels]
    volts = [full_v if level >= 1.0 else rest_v_at(model, level, full_v) for level in levels]
    return [math.nan if v is None else v for v in volts]


def _studied(
    scope: Scope, builds: QuerySet[Build], battery_ids: Sequence[int], rows: CircuitColumns
) -> dict[int, dict[int, tuple[float, float]]]:
    """Build -> battery -> what its study says, planned with and median, where it holds for what is entered today."""
    inputs = study_inputs(scope, builds, rows)
    fresh = {(i.build.pk, c.battery.battery_id): c.key for i in inputs for c in i.cases}
    kept = (
        scope.rows(MatchStudy)
        .filter(build__in=[i.build.pk for i in inputs], battery_id__in=battery_ids)
        .annotate(board=KeyTransform("board", "outcome"), summary=KeyTransform("summary", "outcome"))
    )
    found: dict[int, dict[int, tuple[float, float]]] = {}
    for build, battery, key, runs, board, summary in kept.values_list(
        "build_id", "battery_id", "key", "runs", "board", "summary"
    ):
        if fresh.get((build, battery)) != key or battery is None:
            continue
        lowest = (board or {}).get("lowest_v") or {}
        low, middle = lowest.get(STUDY_PERCENTILE), lowest.get(MEDIAN)
        collapsed = (summary or {}).get("collapsed_runs") or 0
        if collapsed >= STUDY_FRAC * runs and collapsed:
            low = 0.0
        if low is not None:
            found.setdefault(build, {})[battery] = float(low), float(low if middle is None else middle)
    return found


def _robot(
    net: Assembled,
    done: Solution,
    r: int,
    build: Build,
    push: FloatArray,
    studied: Mapping[int, tuple[float, float]],
    battery_ids: Sequence[int],
) -> RobotVolts:
    limit_v, words = _limit(net, done, r)
    low = {pk: found[0] for pk, found in studied.items()}
    lowest, source = _lowest(push, [low.get(pk) for pk in battery_ids], limit_v)
    usual = [middle - least for least, middle in studied.values() if least > 0]
    return RobotVolts(
        build.robot_id, lowest, source, limit_v, words, float(np.median(usual)) if usual else 0.0
    )


def _lowest(
    push: FloatArray, studied: Sequence[float | None], limit_v: float
) -> tuple[FloatArray, tuple[str, ...]]:
    """Of one robot: batteries x levels, and what each row rests on.

    >>> push = np.array([[10.0, 11.0], [9.0, 10.0], [np.nan, np.nan], [10.0, 11.0]])
    >>> volts, source = _lowest(push, [10.5, None, None], 7.0)
    >>> volts.tolist(), source
    ([[9.5, 10.5], [8.5, 9.5], [8.5, 9.5]], ('study', 'push', 'stand-in'))
    """
    count = len(studied)
    known = ~np.isnan(push[:count, -1])
    low = np.array([math.nan if v is None else v for v in studied], dtype=np.float64)
    by_study = ~np.isnan(low) & known
    apart = low[by_study] - push[:count, -1][by_study]
    shift = np.where(by_study, low - push[:count, -1], np.median(apart) if apart.size else 0.0)
    # At a charge below the model's curve nothing is known: no battery goes out with it.
    shifted = np.nan_to_num(push[:count] + shift[:, None])
    lowest = np.where(push[:count] == 0.0, 0.0, np.maximum(shifted, 0.0))
    source = np.where(by_study, STUDY, np.where(known, PUSH, STAND_IN)).tolist()
    if known.all():
        return lowest, tuple(source)
    if known.any():
        lowest[~known] = lowest[known].min(axis=0)
    else:
        new = push[-1]
        told = not math.isnan(new[-1])
        lowest[:] = np.nan_to_num(new) if told else limit_v
        source = [NEW if told else NONE] * count
    return lowest, tuple(source)


def _limit(net: Assembled, done: Solution, r: int) -> tuple[float, str]:
    """The highest level at which something the robot is dead without browns out, as a voltage of the board.

    What is lost between the board and the device in the push comes on top. Behind a regulator nothing sags.
    """
    best: tuple[float, str] | None = None
    for vital in (True, False):
        levels = levels_of(net, vital=vital)
        for branch, least, behind, (_, code, name) in zip(
            levels.branch.tolist(),
            levels.minimum_v.tolist(),
            levels.regulated.tolist(),
            levels.names,
            strict=True,
        ):
            if behind or branch < 0 or int(net.robot[branch]) != r:
                continue
            board = done.battery_v[r] if net.board[r] == POSTS else done.load_v[int(net.board[r])]
            lost = board - done.load_v[branch]
            whole = lost[~np.isnan(lost)]
            limit = least + max(0.0, float(np.median(whole)) if whole.size else 0.0)
            if best is None or limit > best[0]:
                best = (limit, f"{name or code} needs {least:g} V, {limit:.2f} V at the board")
        if best is not None:
            return best
    return 0.0, ""
