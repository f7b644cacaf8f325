"""A slip that makes a test pass whatever the code does."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

TESTS = Path(__file__).resolve().parents[1]
# Context managers that check nothing unless they are entered.
CONTEXT_CHECKS = frozenset(
    {
        "assertNumQueries",
        "django_assert_num_queries",
        "django_assert_max_num_queries",
        "assertRaises",
        "raises",
    }
)


def name_of(call: ast.Call) -> str:
    function = call.func
    return function.attr if isinstance(function, ast.Attribute) else getattr(function, "id", "")


def bare_checks(text: str) -> list[int]:
    """Lines where such a check stands as a statement of its own and so is never entered."""
    return [
        node.lineno
        for node in ast.walk(ast.parse(text))
        if isinstance(node, ast.Expr)
        and isinstance(node.value, ast.Call)
        and name_of(node.value) in CONTEXT_CHECKS
        and len(node.value.args) < 2  # with a function to call, the check runs it
    ]


@pytest.mark.parametrize(
    "path", sorted(TESTS.rglob("test_*.py")), ids=lambda path: str(path.relative_to(TESTS))
)
def test_every_check_is_entered(path):
    assert bare_checks(path.read_text()) == []


def test_the_slip_is_seen():
    assert bare_checks("self.assertNumQueries(1)\nwith self.assertNumQueries(1):\n    pass\n") == [1]
