"""Imports go one way: shared <- inventory <- builds <- compliance; the formula kernel knows no framework."""

from __future__ import annotations

import ast
import subprocess
import sys
from pathlib import Path

import pytest

REPOSITORY = Path(__file__).resolve().parents[2]
LAYERS = ("shared", "inventory", "builds", "compliance")


def imports_of(text: str) -> set[str]:
    """First parts of every module a source imports, at any depth of the file."""
    found = set()
    for node in ast.walk(ast.parse(text)):
        if isinstance(node, ast.Import):
            found |= {alias.name.split(".")[0] for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            found.add("." if node.level else (node.module or "").split(".")[0])
    return found


def sources(package: str) -> list[Path]:
    return sorted((REPOSITORY / package).rglob("*.py"))


@pytest.mark.parametrize("layer", LAYERS)
def test_no_layer_imports_a_higher_one(layer):
    higher = set(LAYERS[LAYERS.index(layer) + 1 :]) | {"tests", "."}
    files = sources(layer)
    assert files
    wrong = {
        str(path.relative_to(REPOSITORY)): sorted(found)
        for path in files
        if (found := imports_of(path.read_text()) & higher)
    }
    assert wrong == {}


def test_the_reader_of_imports_sees_hidden_ones():
    text = "def f():\n    from compliance.models import Flag\n\nif True:\n    import builds.models as b\n"
    assert imports_of(text) == {"compliance", "builds"}


def test_the_contracts_hold():
    done = subprocess.run(
        [Path(sys.executable).with_name("lint-imports"), "--no-cache"],
        cwd=REPOSITORY,
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stdout + done.stderr
