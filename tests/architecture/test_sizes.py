"""Files and functions stay small enough to read at one go."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

REPOSITORY = Path(__file__).resolve().parents[2]
PACKAGES = ("shared", "inventory", "builds", "compliance", "tests")
MAX_FILE_LINES = 400
MAX_FUNCTION_LINES = 60


def sources() -> list[Path]:
    return [
        path
        for package in PACKAGES
        for path in sorted((REPOSITORY / package).rglob("*.py"))
        if "migrations" not in path.parts
    ]


def function_lengths(text: str) -> dict[str, int]:
    """Lines of every function without its docstring: what a reader has to hold at once."""
    found = {}
    for node in ast.walk(ast.parse(text)):
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
            length = (node.end_lineno or node.lineno) - node.lineno + 1
            if ast.get_docstring(node) is not None:
                docstring = node.body[0]
                length -= (docstring.end_lineno or docstring.lineno) - docstring.lineno + 1
            found[f"{node.name}:{node.lineno}"] = length
    return found


def test_the_measure_leaves_the_docstring_out():
    assert function_lengths('def f():\n    """One.\n\n    Two.\n    """\n    return 1\n') == {"f:1": 2}


def test_there_is_something_to_measure():
    assert len(sources()) > 20


@pytest.mark.parametrize("path", sources(), ids=lambda path: str(path.relative_to(REPOSITORY)))
def test_sizes(path):
    text = path.read_text()
    assert len(text.splitlines()) <= MAX_FILE_LINES
    assert {name: n for name, n in function_lengths(text).items() if n > MAX_FUNCTION_LINES} == {}
