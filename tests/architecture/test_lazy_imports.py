"""What is slow to import is not in the web process when it starts, nor in any page's way."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

REPOSITORY = Path(__file__).resolve().parents[2]
HEAVY = ("ortools", "scipy", "pandas", "pint", "openpyxl")

LOADED = """
import os, sys
os.environ["DJANGO_SETTINGS_MODULE"] = "shared.settings"
import shared.wsgi
from django.urls import get_resolver
get_resolver().url_patterns
import shared.planning.rotation
print(sorted(name for name in sys.argv[1:] if name in sys.modules))
"""


def loaded(*names: str) -> str:
    done = subprocess.run(
        [sys.executable, "-c", LOADED, *names], cwd=REPOSITORY, capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stderr
    return done.stdout.strip()


def test_the_web_process_starts_without_them():
    assert loaded(*HEAVY) == "[]"


def test_it_would_be_seen():
    assert loaded("django") == "['django']"
