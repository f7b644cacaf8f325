"""Every public function keeps the docstring shape, and the package stays light to import."""

import inspect
import re
import subprocess
import sys

import pytest

import shared.planning.reorder
import shared.planning.trends

FUNCTIONS = [
    function
    for package in (shared.planning.trends, shared.planning.reorder)
    for name in package.__all__
    if inspect.isroutine(function := getattr(package, name))
]


@pytest.mark.parametrize("function", FUNCTIONS, ids=lambda f: f.__name__)
def test_docstring_names_parameters_results_errors_validity_source_and_an_example(function):
    text = inspect.getdoc(inspect.unwrap(function)) or ""
    for part in ("Parameters\n", "Returns\n", "Errors\n", "Validity: ", "Source: ", ">>> "):
        assert part in text, part
    documented = text[text.index("Parameters") : text.index("Returns")]
    for parameter in inspect.signature(function).parameters:
        assert re.search(rf"^(\w+, )*{parameter}(, \w+)* :", documented, re.MULTILINE), parameter
    assert "[" in text or "str" in text, "units stand in brackets"


def test_the_packages_import_neither_django_nor_scipy():
    code = (
        "import sys, shared.planning.trends, shared.planning.reorder;"
        "heavy = {m.split('.')[0] for m in sys.modules} & {'django', 'scipy', 'pandas'};"
        "sys.exit(str(heavy) if heavy else 0)"
    )
    ran = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert ran.returncode == 0, ran.stderr
