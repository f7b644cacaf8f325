"""Laws that hold in any network: Kirchhoff's, monotony, no dependence on order or company, the highest solution."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import sparse
from scipy.sparse.linalg import splu

from shared.electrical.network import FeedTree, LoadKind, Loads, Solution, Sources, collapse_margin, solve
from tests.feed_trees import KINDS, LINEAR, random_problem
from tests.kirchhoff import residuals
from tests.spice import Problem

FIGURES = ("current_a", "plus_v", "minus_v", "load_v", "load_a", "output_a")


@st.composite
def problems(draw: st.DrawFn, kinds: tuple[LoadKind, ...] = KINDS, *, overload: bool = False) -> Problem:
    return random_problem(
        draw(st.integers(0, 10**6)),
        branches=draw(st.integers(1, 60)),
        reach=draw(st.sampled_from([0.0, 0.5, 0.9, 1.0])),
        heavy=draw(st.sampled_from([0.01, 0.5, 1.0, 2.0, 5.0])),
        kinds=kinds,
        overload=overload,
    )


def solved(problem: Problem) -> Solution:
    return solve(problem.tree, problem.sources, problem.loads)


@given(problems(overload=True))
def test_a_claimed_solution_obeys_every_law(problem):
    found = solved(problem)
    if found.solved.all():
        assert residuals(problem, found).worst() < 1e-9
        assert (found.load_v >= 0.0).all()
        assert (found.current_a >= 0.0).all()
    else:
        for name in ("battery_v", *FIGURES[:-1]):
            assert np.isnan(getattr(found, name)).all(), name
        assert not found.limited.any()


def test_heavy_networks_do_collapse_and_light_ones_do_not():
    # The law above would hold in an empty world too.
    share = {
        heavy: np.mean([solved(random_problem(n, branches=40, heavy=heavy)).solved.all() for n in range(40)])
        for heavy in (1.0, 5.0)
    }
    assert share[1.0] > 0.9
    assert 0.0 < share[5.0] < 0.9


@given(problems(), st.floats(1.05, 3.0), st.data())
def test_more_resistance_never_raises_the_voltage_behind_it(problem, factor, data):
    row = data.draw(st.integers(0, len(problem.tree.parent) - 1))
    raised = problem.tree.supply_ohm.copy()
    raised[row] *= factor
    before = solved(problem)
    after = solve(problem.tree.with_ohm(raised, problem.tree.return_ohm), problem.sources, problem.loads)
    if not before.solved.all():
        assert not after.solved.all()
    elif after.solved.all():
        assert after.load_v[row, 0] <= before.load_v[row, 0] + 1e-9


@given(problems(), st.floats(1.05, 3.0))
def test_a_worse_battery_never_raises_a_voltage(problem, factor):
    worse = Sources(problem.sources.open_v, problem.sources.internal_ohm * factor)
    before, after = solved(problem), solve(problem.tree, worse, problem.loads)
    if after.solved.all():
        assert before.solved.all()
        assert (after.load_v <= before.load_v + 1e-9).all()


@given(problems(overload=True), st.randoms(use_true_random=False))
def test_the_order_of_the_branches_does_not_matter(problem, random):
    tree = problem.tree
    rows = list(range(len(tree.parent)))
    random.shuffle(rows)
    order = np.array(rows)
    moved = np.append(np.argsort(order), -1)
    other = FeedTree.build(
        robot=tree.robot[order],
        parent=moved[tree.parent[order]],
        supply_ohm=tree.supply_ohm[order],
        return_ohm=tree.return_ohm[order],
    )
    one, two = solved(problem), solve(other, problem.sources, problem.loads.only(order))
    for name in FIGURES:
        expected = getattr(one, name)[order]
        np.testing.assert_allclose(getattr(two, name), expected, rtol=1e-10, atol=1e-10, err_msg=name)
    for name in ("limited", "dropout"):
        assert (getattr(two, name) == getattr(one, name)[order]).all()


@given(st.lists(problems(overload=True), min_size=2, max_size=5))
def test_many_robots_at_once_are_the_robots_one_by_one(several):
    sizes = [len(problem.tree.parent) for problem in several]
    starts = np.cumsum([0, *sizes[:-1]])
    joined = FeedTree.build(
        robot=np.repeat(np.arange(len(several)), sizes),
        parent=np.concatenate(
            [np.where(p.tree.parent < 0, -1, p.tree.parent + s) for p, s in zip(several, starts, strict=True)]
        ),
        supply_ohm=np.concatenate([problem.tree.supply_ohm[:, 0] for problem in several]),
        return_ohm=np.concatenate([problem.tree.return_ohm[:, 0] for problem in several]),
    )
    columns = [problem.figures() for problem in several]
    loads = Loads(**{name: np.concatenate([column[name] for column in columns]) for name in columns[0]})
    sources = Sources(
        *(
            np.concatenate(x)
            for x in zip(*((p.sources.open_v, p.sources.internal_ohm) for p in several), strict=True)
        )
    )
    together = solve(joined, sources, loads)
    for number, (problem, start) in enumerate(zip(several, starts, strict=True)):
        alone = solved(problem)
        assert together.solved[number] == alone.solved[0]
        for name in FIGURES:
            part = getattr(together, name)[start : start + sizes[number]]
            np.testing.assert_allclose(part, getattr(alone, name), rtol=1e-10, atol=1e-10, err_msg=name)


@given(problems(), st.lists(st.floats(0.0, 6.0), min_size=2, max_size=5))
def test_scenarios_at_once_are_the_scenarios_one_by_one(problem, factors):
    loads = problem.loads.times(np.array([factors]))
    together = solve(problem.tree, problem.sources, loads)
    assert together.load_v.shape == (len(problem.tree.parent), len(factors))
    for column, factor in enumerate(factors):
        alone = solve(problem.tree, problem.sources, problem.loads.times(factor))
        assert together.solved[0, column] == alone.solved[0, 0]
        for name in FIGURES:
            expected = getattr(alone, name)[:, 0]
            got = getattr(together, name)[:, column]
            np.testing.assert_allclose(got, expected, rtol=1e-10, atol=1e-10, err_msg=name)


def test_the_kind_of_a_load_may_differ_between_scenarios():
    problem = random_problem(5, branches=30, kinds=(*LINEAR, LoadKind.POWER))
    kinds = np.stack([np.roll(problem.loads.kind, shift) for shift in range(4)], axis=1)
    together = solve(problem.tree, problem.sources, Loads(**{**vars(problem.loads), "kind": kinds}))
    for column in range(4):
        loads = Loads(**{**vars(problem.loads), "kind": kinds[:, column]})
        one = Problem(problem.tree, problem.sources, loads)
        assert residuals(one, together, column).worst() < 1e-9
        np.testing.assert_allclose(together.plus_v[:, [column]], solved(one).plus_v, rtol=1e-12)


@settings(max_examples=50)
@given(problems((LoadKind.NONE, LoadKind.CURRENT, LoadKind.RESISTANCE, LoadKind.POWER)))
def test_it_is_the_highest_solution_by_a_sparse_nodal_method(problem):
    """Ground to battery to both poles of every branch as one matrix, powers as currents at the last voltages.

    From the open-circuit voltages down this simple repetition ends at the highest solution, if slowly (the map
    is monotone). Matrix and solver are scipy's.
    """
    found = solved(problem)
    highest = by_nodes(problem, repeat=300)
    if not found.solved.all():
        assert highest is None or not np.isfinite(highest).all() or _still_falls(problem, highest)
    else:
        assert highest is not None
        # Near collapse the repetition is still above.
        assert (highest[1::2] - highest[2::2] >= found.load_v[:, 0] - 1e-9).all()
        if collapse_margin(problem.tree, problem.sources, problem.loads)[0, 0] > 1.3:
            np.testing.assert_allclose(highest[1::2], found.plus_v[:, 0], rtol=1e-9)
            np.testing.assert_allclose(highest[2::2], found.minus_v[:, 0], atol=1e-9)


def by_nodes(problem: Problem, repeat: int) -> np.ndarray | None:
    """Battery post, then plus and minus of each branch; None where a constant current finds no voltage."""
    tree, f = problem.tree, problem.figures()
    open_v, internal_ohm = (figure[0, 0].item() for figure in problem.sources.columns())
    count = len(tree.parent)
    plus, minus = np.arange(count) * 2 + 1, np.arange(count) * 2 + 2
    feeds = tree.parent >= 0
    near_plus = np.where(feeds, plus[tree.parent], 0)
    entries = [(0, 0, 1.0 / internal_ohm)]
    for far, near, ohms in (
        (plus, near_plus, tree.supply_ohm),
        (minus, np.where(feeds, minus[tree.parent], -1), tree.return_ohm),
    ):
        for row in range(count):
            s = 1.0 / ohms[row, 0]
            ends = [(far[row], 1.0)] + ([(near[row], -1.0)] if near[row] >= 0 else [])
            entries += [(a, b, s * x * y) for a, x in ends for b, y in ends]
    for row in np.flatnonzero(f["kind"] == LoadKind.RESISTANCE).tolist():
        ends = [(plus[row], 1.0), (minus[row], -1.0)]
        entries += [(a, b, x * y / f["load_ohm"][row]) for a, x in ends for b, y in ends]
    rows, columns, values = zip(*entries, strict=True)
    matrix = splu(sparse.csc_matrix((values, (rows, columns))))
    across = np.full(count, open_v)
    constant = np.where(f["kind"] == LoadKind.CURRENT, f["current_a"], 0.0)
    watts = np.where(f["kind"] == LoadKind.POWER, f["power_w"], 0.0)
    for _ in range(repeat):
        drawn = constant + watts / across
        injected = np.zeros(2 * count + 1)
        injected[0] = open_v / internal_ohm
        injected[plus], injected[minus] = -drawn, drawn
        volts: np.ndarray = matrix.solve(injected)
        across = volts[plus] - volts[minus]
        if (across[drawn > 0.0] <= 0.0).any():
            return None
        across = np.maximum(across, 1e-12)
    return volts


def _still_falls(problem: Problem, reached: np.ndarray) -> bool:
    later = by_nodes(problem, repeat=3000)
    return later is None or bool((later[1::2] < reached[1::2]).any())


@settings(max_examples=30)
@given(st.floats(6.0, 26.0), st.floats(0.001, 0.1), st.floats(0.001, 0.1), st.floats(0.2, 3.0))
def test_one_constant_power_collapses_exactly_beyond_a_quarter(open_v, battery_ohm, wire_ohm, share):
    # Maximum power transfer: V^2 = 4 R P.
    most_w = open_v**2 / (4.0 * (battery_ohm + wire_ohm))
    tree = FeedTree.build(robot=[0], parent=[-1], supply_ohm=[wire_ohm], return_ohm=[0.0])
    battery = Sources(open_v, battery_ohm)
    margin = collapse_margin(tree, battery, Loads(kind=[LoadKind.POWER], power_w=share * most_w))
    assert margin[0, 0] == pytest.approx(1.0 / share, rel=1e-9)
    for factor, expected in ((1.0 - 1e-9, True), (1.0 + 1e-9, False)):
        found = solve(tree, battery, Loads(kind=[LoadKind.POWER], power_w=factor * most_w))
        assert found.solved.tolist() == [[expected]]
        if expected:
            assert found.load_v[0, 0] == pytest.approx(open_v / 2.0, rel=1e-4)


@settings(max_examples=25)
@given(problems(overload=True))
def test_the_margin_is_where_solutions_end(problem):
    margin = collapse_margin(problem.tree, problem.sources, problem.loads, precision=1e-8)[0, 0]
    assert (margin >= 1.0) == solved(problem).solved[0, 0] or margin == pytest.approx(1.0, rel=1e-7)
    factors = (
        np.array([[1e3, 1e5]])
        if np.isinf(margin)
        else margin * np.array([[0.5, 1.0 - 1e-7, 1.0 + 1e-7, 3.0]])
    )
    found = solve(problem.tree, problem.sources, problem.loads.times(factors)).solved[0]
    if np.isinf(margin):
        assert found.all()
    elif margin > 0.0:
        assert found.tolist() == [True, True, False, False]


def test_motors_at_their_limit_do_not_hide_a_solution():
    """A step that takes a limited motor for a constant current can fall below the solution: 4,000 such boards.

    Judged by trying 20,000 board voltages each: a solution exists where the battery gives what is drawn.
    """
    rng, count = np.random.default_rng(0), 4000
    watts, ohms = rng.uniform(50.0, 300.0, count), rng.uniform(0.02, 0.3, count)
    back_v, limit_a, battery_ohm = (
        rng.uniform(0, 10, count),
        rng.uniform(20, 150, count),
        rng.uniform(0.05, 0.15, count),
    )
    shape = np.array([-1, 0, 0])

    def at(place: int, values: np.ndarray) -> np.ndarray:
        column = np.zeros((count, 3))
        column[:, place] = values
        return column.ravel()

    found = solve(
        FeedTree.build(
            robot=np.repeat(np.arange(count), 3),
            parent=np.concatenate([np.where(shape < 0, -1, 3 * robot) for robot in range(count)]),
            supply_ohm=np.full(3 * count, 0.01),
            return_ohm=np.zeros(3 * count),
        ),
        Sources(np.full(count, 12.0), battery_ohm),
        Loads(
            kind=np.tile([LoadKind.NONE, LoadKind.POWER, LoadKind.MOTOR], count),
            power_w=at(1, watts),
            motor_ohm=at(2, ohms) + at(1, np.ones(count)),
            back_emf_v=at(2, back_v),
            limit_a=at(2, limit_a),
        ),
    )
    board = np.linspace(0.01, 12.0, 20_000)[:, None]
    exists = np.zeros(count, dtype=bool)
    for part in np.array_split(np.arange(count), 40):
        square = board**2 - 0.04 * watts[part]
        power_a = 2.0 * watts[part] / (board + np.sqrt(np.maximum(square, 0.0)))
        motor_a = np.clip((board - back_v[part]) / (ohms[part] + 0.01), 0.0, limit_a[part])
        spare_a = (12.0 - board) / (battery_ohm[part] + 0.01) - power_a - motor_a
        exists[part] = ((square >= 0.0) & (spare_a >= 0.0)).any(axis=0)
    assert 0.5 < exists.mean() < 0.95
    # A grid misses a solution narrower than its step.
    assert not (exists & ~found.solved[:, 0]).any()
    assert (found.solved[:, 0] & ~exists).mean() < 0.001
