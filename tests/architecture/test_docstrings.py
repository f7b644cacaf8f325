"""Every public kernel function says what it takes and gives, in which unit, and from which source."""

from __future__ import annotations

import ast
import re
from pathlib import Path

import pytest

REPOSITORY = Path(__file__).resolve().parents[2]
KERNEL = ("shared/electrical", "shared/planning")


def exported(module: ast.Module) -> set[str] | None:
    """The names in `__all__`, or None where the module has none."""
    for node in module.body:
        if isinstance(node, ast.Assign) and any(
            getattr(target, "id", "") == "__all__" for target in node.targets
        ):
            return set(ast.literal_eval(node.value))
    return None


def public_functions(text: str) -> list[ast.FunctionDef]:
    module = ast.parse(text)
    names = exported(module)
    return [
        node
        for node in module.body
        if isinstance(node, ast.FunctionDef)
        and (node.name in names if names is not None else not node.name.startswith("_"))
    ]


def parameters(function: ast.FunctionDef) -> list[str]:
    arguments = function.args
    named = [*arguments.posonlyargs, *arguments.args, *arguments.kwonlyargs]
    extra = [arg for arg in (arguments.vararg, arguments.kwarg) if arg]
    return [argument.arg for argument in [*named, *extra]]


def faults(function: ast.FunctionDef) -> list[str]:
    """What a docstring leaves out."""
    text = ast.get_docstring(function) or ""
    missing = [name for name in parameters(function) if not re.search(rf"\b{name}\b", text)]
    found = [f"does not name {name}" for name in missing]
    found += ["names no unit in brackets"] if not re.search(r"\[[^\]\n]+\]", text) else []
    for heading in ("Returns", "Source", "Validity", "Errors"):
        found += [f"has no '{heading}'"] if not re.search(rf"^{heading}\b", text, re.MULTILINE) else []
    found += ["has no example"] if ">>>" not in text else []
    return found


def cases() -> list[tuple[str, ast.FunctionDef]]:
    return [
        (f"{path.relative_to(REPOSITORY)}::{function.name}", function)
        for package in KERNEL
        for path in sorted((REPOSITORY / package).rglob("*.py"))
        for function in public_functions(path.read_text())
    ]


@pytest.mark.parametrize("function", [pytest.param(node, id=name) for name, node in cases()])
def test_docstring_is_complete(function):
    assert faults(function) == []


@pytest.mark.parametrize(
    "path", sorted((REPOSITORY / "shared/electrical").rglob("*.py")), ids=lambda path: path.stem
)
def test_electrical_modules_list_their_names(path):
    module = ast.parse(path.read_text())
    defined = {
        getattr(node, "name", "")
        for node in module.body
        if isinstance(node, ast.FunctionDef | ast.ClassDef) and not node.name.startswith("_")
    }
    assert defined <= (exported(module) or set())


def test_there_are_functions_to_read():
    assert len(cases()) >= 40


def test_a_thin_docstring_is_seen():
    function = ast.parse('def f(a_v):\n    """Do it."""\n').body[0]
    assert isinstance(function, ast.FunctionDef)
    assert faults(function) == [
        "does not name a_v",
        "names no unit in brackets",
        "has no 'Returns'",
        "has no 'Source'",
        "has no 'Validity'",
        "has no 'Errors'",
        "has no example",
    ]
