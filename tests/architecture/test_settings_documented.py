"""README.md's configuration table and the settings say the same."""

from __future__ import annotations

import re
from pathlib import Path

from shared import settings as source

REPOSITORY = Path(__file__).resolve().parents[2]


def documented() -> dict[str, str]:
    """Variable -> default, from the table under the heading 'Configuration'."""
    text = (REPOSITORY / "README.md").read_text()
    section = text.split("\n## Configuration\n", 1)[1].split("\n## ", 1)[0]
    rows = re.findall(r"^\| `([A-Z_]+)` \| (.*?) \| (.+?) \|$", section, flags=re.MULTILINE)
    assert all(meaning.strip() for _, _, meaning in rows)
    return {name: default.strip().strip("`") for name, default, _ in rows}


def test_every_variable_the_settings_read_stands_in_the_table_with_its_default():
    read = {name: variable.default for name, variable in source.env.declared.items()}
    assert len(read) > 10
    assert documented() == read


def test_nothing_else_reads_the_environment():
    """One place reads variables; the exceptions are named with what they may read."""
    allowed = {
        "shared/env.py",  # the readers themselves
        "shared/bootstrap.py",  # before there are settings
        "shared/supervisor.py",  # hands its environment on to its children
        "shared/embedded.py",  # names the hosts for those children
        "shared/checks.py",  # looks for a broker named behind the settings' back
        "shared/celery.py",  # DJANGO_SETTINGS_MODULE
        "shared/wsgi.py",  # DJANGO_SETTINGS_MODULE
    }
    found = {
        str(path.relative_to(REPOSITORY))
        for package in ("shared", "inventory", "builds", "compliance")
        for path in (REPOSITORY / package).rglob("*.py")
        if re.search(r"\bos\.(environ|getenv)\b", path.read_text())
    }
    assert found <= allowed


def test_the_example_file_names_only_real_variables():
    text = (REPOSITORY / ".env.example").read_text()
    names = set(re.findall(r"^#?([A-Z_]+)=", text, flags=re.MULTILINE))
    assert "DEBUG" in names
    assert names <= set(source.env.declared)
