"""The Celery application: tasks of every installed app, and the clock's schedule from shared/schedule.py.

Worker: `celery -A shared.celery worker`; clock: `celery -A shared.celery beat`, one per installation.
"""

from __future__ import annotations

import os
import warnings
from typing import Any

from celery import Celery
from celery.platforms import SecurityWarning  # type: ignore[attr-defined] # missing in the stubs
from celery.signals import setup_logging
from django.conf import settings

from shared.schedule import JOBS, NUDGE_EVERY_S

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "shared.settings")

START_TASK = "shared.tasks.start_scheduled"
NUDGE_DUE_TASK = "shared.tasks.nudge_due"
# A message that waited longer than this is dropped: the next one asks the same question of the same rows.
EXPIRES_PERIOD_FRAC = 0.9
START_EXPIRES_S = 3600.0


def beat_schedule(names: list[str]) -> dict[str, dict[str, Any]]:
    """Celery's table for the jobs named, plus the look for rows whose nudge was lost or whose worker died."""
    table: dict[str, dict[str, Any]] = {
        name: {
            "task": START_TASK,
            "args": [name],
            "schedule": JOBS[name].every,
            "options": {"expires": START_EXPIRES_S},
        }
        for name in names
    }
    table["nudge.due"] = {
        "task": NUDGE_DUE_TASK,
        "schedule": NUDGE_EVERY_S,
        "options": {"expires": NUDGE_EVERY_S * EXPIRES_PERIOD_FRAC},
    }
    return table


@setup_logging.connect
def _keep_django_logging(**_: Any) -> None:
    """Having a receiver at all tells Celery to leave the log set-up of settings.LOGGING in place."""


if not settings.PRODUCTION:
    # The warning against running as root is about messages that carry code; ours are JSON from this machine.
    warnings.filterwarnings("ignore", category=SecurityWarning)

app = Celery("loadstock")
app.config_from_object("django.conf:settings", namespace="CELERY")
app.autodiscover_tasks()
app.conf.beat_schedule = beat_schedule(settings.SCHEDULED_JOBS)
