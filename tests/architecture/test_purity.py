"""The formula kernel reads no framework, database, clock, random source, file or environment."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

REPOSITORY = Path(__file__).resolve().parents[2]
KERNEL = ("shared/electrical", "shared/planning")

FORBIDDEN_MODULES = frozenset(
    [
        "asyncio",
        "celery",
        "datetime",
        "django",
        "environ",
        "http",
        "logging",
        "os",
        "pint",
        "psycopg",
        "random",
        "redis",
        "requests",
        "rest_framework",
        "secrets",
        "socket",
        "sqlite3",
        "subprocess",
        "time",
        "urllib",
        "uuid",
    ]
)
# Reached through a permitted module or a builtin.
FORBIDDEN_CALLS = frozenset({"open", "print", "input", "exec", "eval", "__import__"})
FORBIDDEN_ATTRIBUTES = frozenset({"now", "today", "utcnow", "random", "default_rng", "seed"})


def kernel_files() -> list[Path]:
    return [path for package in KERNEL for path in sorted((REPOSITORY / package).rglob("*.py"))]


def impurities(text: str) -> list[str]:
    """Everything in a source that reaches outside its arguments."""
    found = []
    for node in ast.walk(ast.parse(text)):
        if isinstance(node, ast.Import):
            found += [alias.name for alias in node.names if alias.name.split(".")[0] in FORBIDDEN_MODULES]
        elif isinstance(node, ast.ImportFrom) and (node.module or "").split(".")[0] in FORBIDDEN_MODULES:
            found.append(str(node.module))
        elif isinstance(node, ast.Call) and isinstance(node.func, ast.Name):
            found += [node.func.id] if node.func.id in FORBIDDEN_CALLS else []
        elif isinstance(node, ast.Attribute) and node.attr in FORBIDDEN_ATTRIBUTES:
            found.append(node.attr)
        elif isinstance(node, ast.Global):
            found += [f"global {name}" for name in node.names]
    return found


def foreign_imports(text: str) -> list[str]:
    """Modules of ours outside the kernel that a kernel source imports."""
    allowed = tuple(part.replace("/", ".") for part in KERNEL)
    modules = [
        str(node.module)
        for node in ast.walk(ast.parse(text))
        if isinstance(node, ast.ImportFrom)
        and str(node.module).split(".")[0] in {"shared", "inventory", "builds", "compliance"}
    ]
    return [module for module in modules if not module.startswith(allowed)]


def test_there_is_a_kernel_to_read():
    assert len(kernel_files()) >= 20


@pytest.mark.parametrize("path", kernel_files(), ids=lambda path: str(path.relative_to(REPOSITORY)))
def test_the_kernel_is_pure(path):
    text = path.read_text()
    assert impurities(text) == []
    assert foreign_imports(text) == []


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("from django.db import models", ["django.db"]),
        ("def f():\n    import time\n", ["time"]),
        ("import numpy as np\nx = np.random.default_rng(1)", ["default_rng", "random"]),
        ("open('x')", ["open"]),
        ("import numpy as np\nx = np.sqrt(2.0)", []),
    ],
)
def test_the_reader_sees_what_it_should(text, expected):
    assert sorted(impurities(text)) == expected
