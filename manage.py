#!/usr/bin/env python3
"""Loadstock's one command: `python3 manage.py demo`, `test`, `up`, or any Django command.

Needs only Python 3.11 and this folder: the first start makes .venv and installs the pinned packages there.
"""

import os
import sys

# Before anything else, and in words that an old Python still reads.
if sys.version_info < (3, 11):  # noqa: UP036
    sys.exit(
        "Loadstock needs Python 3.11 or newer; this is Python %d.%d. "  # noqa: UP031
        "Install a newer one and start again with it, for example: python3.11 manage.py demo"
        % tuple(sys.version_info[:2])
    )

from shared import bootstrap


def main(arguments):
    bootstrap.ensure(arguments)
    if arguments[:1] == ["test"]:
        bootstrap.run_tests(arguments[1:])
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "shared.settings")
    # Not at the top: before bootstrap.ensure these packages need not be there.
    from django.core.exceptions import ImproperlyConfigured  # noqa: PLC0415
    from django.core.management import execute_from_command_line  # noqa: PLC0415

    try:
        import shared.settings  # noqa: F401, PLC0415 - so that a refused setting is one sentence, not a traceback
    except ImproperlyConfigured as refused:
        sys.exit(f"Loadstock cannot start: {refused}")
    execute_from_command_line([sys.argv[0], *arguments])


if __name__ == "__main__":
    main(sys.argv[1:])
