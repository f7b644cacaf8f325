"""Slips that make a test pass whatever the code does."""

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


def is_check(node: ast.AST) -> bool:
    if isinstance(node, ast.Call):
        named = name_of(node).startswith(("assert", "check", "expect"))
        return named or any(word.arg == "check" and is_true(word.value) for word in node.keywords)
    return isinstance(node, ast.Assert | ast.With)


def is_true(node: ast.expr) -> bool:
    return isinstance(node, ast.Constant) and node.value is True


def without_a_check(text: str) -> list[str]:
    """Test functions with no assert, no `with`, no call of something named check or assert, no check=True."""
    found = []
    for node in ast.walk(ast.parse(text)):
        if isinstance(node, ast.FunctionDef) and node.name.startswith("test_"):
            if not any(map(is_check, ast.walk(node))):
                found.append(f"{node.name}:{node.lineno}")
    return found


@pytest.mark.parametrize(
    "path", sorted(TESTS.rglob("test_*.py")), ids=lambda path: str(path.relative_to(TESTS))
)
def test_every_test_checks_something(path):
    text = path.read_text()
    assert bare_checks(text) == []
    assert without_a_check(text) == []


def test_the_slips_are_seen():
    assert bare_checks("self.assertNumQueries(1)\nwith self.assertNumQueries(1):\n    pass\n") == [1]
    assert without_a_check("def test_a():\n    f()\n\ndef test_b():\n    assert f()\n") == ["test_a:1"]
