"""The application a test's worker runs: the real one, plus jobs that take as long as a test asks for.

Started as `celery -A tests.worker_app worker`.
"""

from __future__ import annotations

from shared.celery import app
from shared.schedule import JOBS, Job

__all__ = ["LEASE_S", "PLAN_LEASE_S", "PROBE", "SLOW_PLAN", "SLOW_STUDIES", "SLOW_SWEEP", "app"]

PROBE = "probe.slow"
SLOW_SWEEP = "probe.sweep"
SLOW_STUDIES = "probe.studies"
SLOW_PLAN = "probe.plan"
LEASE_S = 3
#: The second attempt imports the solver first.
PLAN_LEASE_S = 15
JOBS[PROBE] = Job("tests.worker_jobs.slow_probe", "A job for tests", lease_s=LEASE_S)
JOBS[SLOW_SWEEP] = Job("tests.worker_jobs.slow_sweep", "A sweep for tests", lease_s=LEASE_S)
JOBS[SLOW_STUDIES] = Job("tests.worker_jobs.slow_studies", "Studies for tests", lease_s=LEASE_S)
JOBS[SLOW_PLAN] = Job("tests.worker_jobs.slow_plan", "A rotation for tests", lease_s=PLAN_LEASE_S)
