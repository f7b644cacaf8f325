"""The network solver by hand-made cases: published and computed values, refusals, flags, the scenario axis."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from shared.electrical.network import (
    FeedTree,
    LoadKind,
    Loads,
    NetworkError,
    Sources,
    collapse_margin,
    one_robot,
    path_ohm,
    solve,
    solve_one,
)
from tests.feed_trees import likely_robots, random_problem

BATTERY = Sources(12.7, 0.015)


def chain(*kinds: LoadKind, ohm: float = 0.01) -> FeedTree:
    """One branch after the other."""
    count = len(kinds)
    return FeedTree.build(
        robot=[0] * count, parent=range(-1, count - 1), supply_ohm=[ohm] * count, return_ohm=[ohm] * count
    )


def test_the_path_of_each_branch():
    tree = FeedTree.build(
        robot=[0, 1, 0, 0],
        parent=[3, -1, 0, -1],
        supply_ohm=[0.01, 0.5, 0.02, 0.003],
        return_ohm=[0.01, 0.25, 0, 0],
    )
    assert path_ohm(tree) == pytest.approx([0.023, 0.75, 0.043, 0.003])
    warm = tree.with_ohm(np.outer(tree.supply_ohm, [1.0, 2.0]), tree.return_ohm)
    assert path_ohm(warm).shape == (4, 2)
    assert path_ohm(warm)[2].tolist() == pytest.approx([0.043, 0.076])


def test_nothing_drawn_nothing_lost():
    found = solve(chain(*[LoadKind.NONE] * 3), BATTERY, Loads(kind=[0, 0, 0]))
    assert found.load_v.ravel().tolist() == [12.7] * 3
    assert found.battery_v.tolist() == [[12.7]]
    assert not found.current_a.any()


def test_a_robot_without_branches_has_its_open_circuit_voltage():
    tree = FeedTree.build(robot=[1], parent=[-1], supply_ohm=[0.1], return_ohm=[0.1])
    found = solve(
        tree, Sources(np.array([12.0, 12.6]), np.array([0.01, 0.01])), Loads(kind=[1], current_a=10.0)
    )
    assert found.battery_v.ravel().tolist() == pytest.approx([12.0, 12.5])


@pytest.mark.parametrize(
    ("command", "back_emf_v", "limit_a", "expected"),
    [
        (1.0, 0.0, np.inf, 12.0 / 0.12),  # stalled: a resistance
        (0.5, 0.0, np.inf, 0.25 * 12.0 / (0.1 + 0.25 * 0.02)),  # an ideal chopper divides the voltage
        (1.0, 13.0, np.inf, 0.0),  # faster than the supply: nothing flows back
        (0.0, 5.0, np.inf, 0.0),
        (1.0, 4.0, np.inf, 8.0 / 0.12),
        (1.0, 4.0, 30.0, 30.0),
    ],
)
def test_a_motor(command, back_emf_v, limit_a, expected):
    loads = Loads(
        kind=[LoadKind.MOTOR], motor_ohm=0.1, command_frac=command, back_emf_v=back_emf_v, limit_a=limit_a
    )
    tree = FeedTree.build(robot=[0], parent=[-1], supply_ohm=[0.005], return_ohm=[0.005])
    found = solve(tree, Sources(12.0, 0.01), loads)
    assert found.load_a[0, 0] == pytest.approx(expected, rel=1e-12)
    assert found.limited[0, 0] == np.isfinite(limit_a)


def regulated(
    *, draw_a: float, output_limit_a: float, open_v: float = 12.0, kind: LoadKind = LoadKind.CURRENT
):
    tree = FeedTree.build(robot=[0, 0], parent=[-1, 0], supply_ohm=[0.02, 0.05], return_ohm=[0.02, 0.05])
    loads = Loads(
        kind=[LoadKind.REGULATOR, kind],
        current_a=draw_a,
        power_w=draw_a,
        output_v=5.0,
        efficiency_frac=0.8,
        output_limit_a=output_limit_a,
    )
    return solve(tree, Sources(open_v, 0.01), loads)


def test_a_regulator_holds_its_output_and_draws_the_power():
    found = regulated(draw_a=2.0, output_limit_a=3.0)
    input_v = found.load_v[0, 0]
    assert found.current_a[0, 0] == pytest.approx(5.0 * 2.0 / 0.8 / input_v)
    assert input_v == pytest.approx(12.0 - 0.05 * found.current_a[0, 0])
    assert found.load_v[1, 0] == pytest.approx(5.0 - 0.1 * 2.0)
    # The output's negative is the input's, against the battery's post.
    assert found.minus_v[1, 0] == pytest.approx(0.02 * found.current_a[0, 0] + 0.05 * 2.0)
    assert found.output_a.ravel().tolist() == pytest.approx([2.0, 0.0])
    assert not found.limited.any()
    assert not found.dropout.any()


def test_an_overloaded_regulator_gives_up_and_the_robot_goes_on():
    found = regulated(draw_a=4.0, output_limit_a=3.0)
    assert found.solved.all()
    assert found.limited.ravel().tolist() == [True, False]
    assert found.output_a[0, 0] == pytest.approx(4.0)
    assert found.load_a[0, 0] * found.load_v[0, 0] == pytest.approx(5.0 * 3.0 / 0.8)
    assert (found.load_v[1, 0], found.current_a[1, 0]) == (0.0, 0.0)


def test_what_no_current_can_feed_behind_a_regulator():
    # 5 V through 0.1 ohm gives 62.5 W at most.
    found = regulated(draw_a=65.0, output_limit_a=20.0, kind=LoadKind.POWER)
    assert found.limited[0, 0]
    assert np.isinf(found.output_a[0, 0])
    without_limit = regulated(draw_a=65.0, output_limit_a=np.inf, kind=LoadKind.POWER)
    assert not without_limit.solved.any()


def test_a_regulator_whose_input_is_too_low():
    assert regulated(draw_a=1.0, output_limit_a=3.0, open_v=4.9).dropout.ravel().tolist() == [True, False]
    assert not regulated(draw_a=1.0, output_limit_a=3.0, open_v=5.5).dropout.any()


def test_regulators_behind_regulators():
    tree = chain(*[LoadKind.NONE] * 4)
    loads = Loads(
        kind=[LoadKind.REGULATOR, LoadKind.REGULATOR, LoadKind.NONE, LoadKind.POWER],
        output_v=np.array([8.0, 5.0, 0.0, 0.0]),
        efficiency_frac=0.9,
        power_w=5.0,
    )
    found = solve(tree, BATTERY, loads)
    v = 5.0 / 2 + np.sqrt(25.0 / 4 - 0.04 * 5.0)
    assert found.load_v[3, 0] == pytest.approx(v)
    second_w = 5.0 * (5.0 / v) / 0.9
    u = 8.0 / 2 + np.sqrt(64.0 / 4 - 0.02 * second_w)
    assert found.load_v[1, 0] == pytest.approx(u)
    assert found.load_v[0, 0] * found.load_a[0, 0] == pytest.approx(8.0 * (second_w / u) / 0.9)


def test_a_constant_current_cannot_pull_below_zero_volts():
    tree = FeedTree.build(robot=[0], parent=[-1], supply_ohm=[0.05], return_ohm=[0.05])
    battery = Sources(12.0, 0.02)
    most_a = 12.0 / 0.12
    assert solve(tree, battery, Loads(kind=[1], current_a=0.999 * most_a)).solved.all()
    assert not solve(tree, battery, Loads(kind=[1], current_a=1.001 * most_a)).solved.any()
    margin = collapse_margin(tree, battery, Loads(kind=[1], current_a=0.25 * most_a))
    assert margin[0, 0] == pytest.approx(4.0, rel=1e-9)


def test_the_margin_of_what_cannot_collapse():
    tree = FeedTree.build(robot=[0, 0], parent=[-1, 0], supply_ohm=[0.05] * 2, return_ohm=[0.05] * 2)
    resistive = Loads(kind=[LoadKind.RESISTANCE, LoadKind.MOTOR], load_ohm=0.01, motor_ohm=0.1)
    assert np.isinf(collapse_margin(tree, BATTERY, resistive)).all()
    # A motor behind a regulator asks more than the battery has, whatever else draws.
    hopeless = Loads(kind=[LoadKind.REGULATOR, LoadKind.RESISTANCE], load_ohm=0.001, output_v=12.0)
    assert collapse_margin(tree, BATTERY, hopeless).tolist() == [[0.0]]


def test_one_collapsed_robot_leaves_the_others_alone():
    problem = likely_robots(5, 20, constant_power=True)
    f = problem.figures()
    watts = f["power_w"].copy()
    heavy = np.flatnonzero((f["kind"] == LoadKind.POWER) & (problem.tree.robot == 2))
    watts[heavy] = 5000.0
    loads = Loads(**{**vars(problem.loads), "power_w": watts})
    found, before = (solve(problem.tree, problem.sources, each) for each in (loads, problem.loads))
    assert found.solved.ravel().tolist() == [True, True, False, True, True]
    rest = problem.tree.robot != 2
    np.testing.assert_allclose(found.plus_v[rest], before.plus_v[rest], rtol=1e-12)
    assert np.isnan(found.plus_v[~rest]).all()


@pytest.mark.parametrize(
    ("changed", "field"),
    [
        ({"parent": [-1, 2, 1]}, "parent"),  # a ring
        ({"parent": [-1, 1, 0]}, "parent"),  # feeds itself
        ({"parent": [-1, 0, 3]}, "parent"),
        ({"parent": [-1, 0, -2]}, "parent"),
        ({"robot": [0, 0, 1]}, "parent"),  # fed from another robot
        ({"robot": [0, 0, -1]}, "robot"),
        ({"robot": [0, 0]}, "robot"),
        ({"supply_ohm": [0.01, 0.0, 0.01], "return_ohm": [0.01, 0.0, 0.0]}, "supply_ohm"),
        ({"supply_ohm": [0.01, np.nan, 0.01]}, "supply_ohm"),
        ({"supply_ohm": [0.01, np.inf, 0.01]}, "supply_ohm"),
        ({"return_ohm": [0.01, -0.01, 0.01]}, "return_ohm"),
        ({"return_ohm": [0.01, 0.01]}, "return_ohm"),
    ],
)
def test_a_tree_that_cannot_be(changed, field):
    good: dict[str, Any] = {
        "robot": [0, 0, 0],
        "parent": [-1, 0, 0],
        "supply_ohm": [0.01] * 3,
        "return_ohm": [0.01] * 3,
    }
    FeedTree.build(**good)
    with pytest.raises(NetworkError) as refused:
        FeedTree.build(**{**good, **changed})
    assert refused.value.field == field
    assert str(refused.value).startswith(field)


def test_the_refusal_names_the_rows():
    with pytest.raises(NetworkError) as refused:
        FeedTree.build(robot=[0] * 4, parent=[-1, 3, 1, 2], supply_ohm=[0.01] * 4, return_ohm=[0.01] * 4)
    assert refused.value.rows == (1, 2, 3)


@pytest.mark.parametrize(
    ("open_v", "internal_ohm", "field"),
    [
        (np.nan, 0.01, "open_v"),
        (0.0, 0.01, "open_v"),
        (np.array([12.0, 12.0]), np.array([0.01, 0.0]), "internal_ohm"),
        (12.0, np.nan, "internal_ohm"),
        (12.0, -0.01, "internal_ohm"),
        (12.0, np.inf, "internal_ohm"),
    ],
)
def test_no_battery(open_v, internal_ohm, field):
    tree = chain(LoadKind.NONE)
    with pytest.raises(NetworkError) as refused:
        solve(tree, Sources(open_v, internal_ohm), Loads(kind=[0]))
    assert refused.value.field == field
    if np.ndim(open_v) == 0:
        with pytest.raises(NetworkError) as refused:
            solve_one(one_robot(tree, Loads(kind=[0])), open_v, internal_ohm)
        assert refused.value.field == field


def test_a_battery_for_every_robot():
    tree = FeedTree.build(robot=[0, 1], parent=[-1, -1], supply_ohm=[0.01] * 2, return_ohm=[0.01] * 2)
    with pytest.raises(NetworkError, match="open_v"):
        solve(tree, Sources(np.array([12.0]), np.array([0.01])), Loads(kind=[0, 0]))


@pytest.mark.parametrize(
    ("kind", "figure", "value"),
    [
        (LoadKind.CURRENT, "current_a", -1.0),
        (LoadKind.CURRENT, "current_a", np.nan),
        (LoadKind.POWER, "power_w", -1.0),
        (LoadKind.POWER, "power_w", np.inf),
        (LoadKind.RESISTANCE, "load_ohm", 0.0),
        (LoadKind.MOTOR, "motor_ohm", 0.0),
        (LoadKind.MOTOR, "back_emf_v", -0.1),
        (LoadKind.MOTOR, "command_frac", 1.5),
        (LoadKind.MOTOR, "limit_a", np.nan),
        (LoadKind.REGULATOR, "output_v", 0.0),
        (LoadKind.REGULATOR, "efficiency_frac", 0.0),
        (LoadKind.REGULATOR, "efficiency_frac", 1.1),
        (LoadKind.REGULATOR, "output_limit_a", -1.0),
    ],
)
def test_a_load_that_cannot_be(kind, figure, value):
    good = {"load_ohm": 1.0, "motor_ohm": 1.0, "output_v": 5.0}
    tree = chain(*[LoadKind.NONE] * 3)
    for wrong in (value, np.array([1.0, value, 1.0])):
        with pytest.raises(NetworkError) as refused:
            solve(tree, BATTERY, Loads(kind=[0, kind, 0], **{**good, figure: wrong}))
        assert refused.value.field == figure
        assert refused.value.rows == (1,)
    # In a load of another kind the figure is not looked at.
    solve(tree, BATTERY, Loads(kind=[0, 0, 0], **{**good, figure: value}))


def test_kinds_that_cannot_be():
    tree = chain(*[LoadKind.NONE] * 2)
    for kind in ([0, 6], [0], [[0, 5], [0, 0]]):
        with pytest.raises(NetworkError) as refused:
            solve(tree, BATTERY, Loads(kind=kind, output_v=5.0))
        assert refused.value.field == "kind"


@pytest.mark.parametrize("seed", range(60))
def test_one_robot_in_plain_python_is_the_same(seed):
    problem = random_problem(
        seed, branches=1 + seed * 5 % 97, heavy=(0.5, 1.0, 4.0)[seed % 3], overload=seed % 2 == 0
    )
    open_v, internal_ohm = (figure[0, 0].item() for figure in problem.sources.columns())
    full = solve(problem.tree, problem.sources, problem.loads)
    one = solve_one(one_robot(problem.tree, problem.loads), open_v, internal_ohm)
    assert one.solved == full.solved[0, 0]
    assert one.battery_v == pytest.approx(full.battery_v[0, 0], rel=1e-12, nan_ok=True)
    for name in ("current_a", "plus_v", "minus_v", "load_v"):
        expected = getattr(full, name)[:, 0]
        np.testing.assert_allclose(getattr(one, name), expected, rtol=1e-11, atol=1e-12, err_msg=name)
    for name in ("limited", "dropout"):
        assert getattr(one, name) == tuple(np.flatnonzero(getattr(full, name)[:, 0])), name


def test_one_robot_is_one():
    problem = likely_robots(2, 20)
    with pytest.raises(NetworkError):
        one_robot(problem.tree, problem.loads)


def test_batteries_and_resistances_may_differ_between_scenarios():
    problem = likely_robots(2, 20, constant_power=True)
    tree, sources = problem.tree, problem.sources
    warm = tree.with_ohm(tree.supply_ohm * [1.0, 1.0, 1.3], tree.return_ohm)
    open_v = np.outer(np.asarray(sources.open_v), [1.0, 0.9, 1.0])
    together = solve(warm, Sources(open_v, sources.internal_ohm), problem.loads)
    assert together.battery_v.shape == (2, 3)
    for column in range(3):
        one_tree = tree.with_ohm(warm.supply_ohm[:, column], tree.return_ohm)
        alone = solve(one_tree, Sources(open_v[:, column], sources.internal_ohm), problem.loads)
        np.testing.assert_allclose(together.plus_v[:, [column]], alone.plus_v, rtol=1e-12)
        np.testing.assert_allclose(together.minus_v[:, [column]], alone.minus_v, rtol=1e-12)


def test_inputs_are_left_as_they_were():
    problem = random_problem(3, branches=50)
    copies = {name: np.copy(value) for name, value in vars(problem.loads).items()}
    ohms = problem.tree.loop_ohm.copy()
    first = solve(problem.tree, problem.sources, problem.loads).plus_v.copy()
    assert (solve(problem.tree, problem.sources, problem.loads).plus_v == first).all()
    assert (problem.tree.loop_ohm == ohms).all()
    assert all((getattr(problem.loads, name) == value).all() for name, value in copies.items())
