"""System checks for combinations of settings that start, look well and lose data or safety later.

`manage.py check --deploy --database default` runs all of them; the ids are stable,
so that one can be silenced knowingly.
"""

from __future__ import annotations

import os
from collections.abc import Iterable, Sequence
from typing import Any

from celery import current_app
from django.apps import AppConfig
from django.conf import settings
from django.core.checks import CheckMessage, Error, Tags, Warning, register
from django.db import connections
from django.db.backends.base.base import BaseDatabaseWrapper

from shared.env import secret_weakness

MIN_LOCK_WAIT_S = 10
SEE_README = "README.md, 'Configuration', lists the variables."

Apps = Sequence[AppConfig] | None


def _sqlite_databases() -> Iterable[tuple[str, dict[str, Any]]]:
    for alias, config in settings.DATABASES.items():
        if str(config["ENGINE"]).endswith("sqlite3"):
            yield alias, config.get("OPTIONS", {})


@register()
def check_sqlite_transactions(app_configs: Apps, **kwargs: Any) -> list[CheckMessage]:
    """E001, E003: the options that make two writers queue instead of failing."""
    found: list[CheckMessage] = []
    for alias, options in _sqlite_databases():
        if str(options.get("transaction_mode", "")).upper() != "IMMEDIATE":
            found.append(
                Error(
                    f"Database '{alias}' is SQLite without immediate transactions.",
                    hint="Set OPTIONS['transaction_mode'] to 'IMMEDIATE': otherwise a page and a job "
                    "that both read and then write fail with 'database is locked', whatever the timeout.",
                    id="loadstock.E001",
                )
            )
        if float(options.get("timeout", 5)) < MIN_LOCK_WAIT_S:
            found.append(
                Error(
                    f"Database '{alias}' is SQLite and waits less than {MIN_LOCK_WAIT_S} s for its lock.",
                    hint="Set OPTIONS['timeout'] to 20; a sweep may hold the lock for some seconds.",
                    id="loadstock.E003",
                )
            )
    return found


@register(Tags.database)
def check_sqlite_journal(
    app_configs: Apps, databases: Sequence[str] | None = None, **kwargs: Any
) -> list[CheckMessage]:
    """E002: reads the pragma back, since an option that was set need not have taken effect."""
    connected = [connections[alias] for alias in databases or ()]
    return [message for connection in connected for message in _journal_of(connection)]


def _journal_of(connection: BaseDatabaseWrapper) -> list[CheckMessage]:
    if connection.vendor != "sqlite":
        return []
    with connection.cursor() as cursor:
        mode = str(cursor.execute("PRAGMA journal_mode").fetchone()[0]).lower()
    if mode in {"wal", "memory"}:  # a database in memory, as in tests, has no other process to wait for
        return []
    return [
        Error(
            f"Database '{connection.alias}' is SQLite with journal mode '{mode}' instead of 'wal'.",
            hint="Keep DATA_DIR on a local disk (a network share cannot do it) and leave "
            "OPTIONS['init_command'] as it is.",
            id="loadstock.E002",
        )
    ]


@register()
def check_one_broker(app_configs: Apps, **kwargs: Any) -> list[CheckMessage]:
    """E004, E005: pages and workers must meet at one broker that outlives a process."""
    broker = str(settings.CELERY_BROKER_URL)
    found: list[CheckMessage] = []
    others = {
        "REDIS_URL": settings.REDIS_URL,
        # Celery itself prefers this variable to any setting.
        "CELERY_BROKER_URL in the environment": os.environ.get("CELERY_BROKER_URL", ""),
    }
    for name, other in others.items():
        if other and other != broker:
            found.append(
                Error(
                    f"Two brokers are configured: {broker.split(':')[0]} in the settings, another by {name}.",
                    hint="Give REDIS_URL alone, or nothing for the embedded broker: a job put into one "
                    "is never seen by a worker on the other. " + SEE_README,
                    id="loadstock.E004",
                )
            )
    if broker.startswith("memory:"):
        found.append(
            Error(
                "The broker lives in one process's memory.",
                hint="Unset it for the embedded broker in DATA_DIR, or give REDIS_URL.",
                id="loadstock.E005",
            )
        )
    return found


@register(Tags.security)
def check_production_safety(app_configs: Apps, **kwargs: Any) -> list[CheckMessage]:
    """E006, E007, W003: what must not be on where strangers can reach the site."""
    if not settings.PRODUCTION:
        return []
    found: list[CheckMessage] = []
    if settings.DEBUG:
        found.append(
            Error(
                "DEBUG is on in production.",
                hint="Unset DEBUG: its error pages show settings and data to anyone.",
                id="loadstock.E006",
            )
        )
    if weakness := secret_weakness(settings.SECRET_KEY):
        found.append(
            Error(
                f"The secret key does not protect a production site: {weakness}.",
                hint="Make one with: python3 -c 'import secrets; print(secrets.token_urlsafe(64))'",
                id="loadstock.E007",
            )
        )
    if settings.HTTPS_ONLY and not settings.BEHIND_PROXY:
        found.append(
            Warning(
                "HTTPS_ONLY is on, but no proxy is declared that speaks https for this site.",
                hint="Behind a proxy that sets X-Forwarded-Proto, and strips it from what comes in, set "
                "BEHIND_PROXY=on; without it every page redirects to itself.",
                id="loadstock.W003",
            )
        )
    return found


@register()
def check_servers_fit(app_configs: Apps, **kwargs: Any) -> list[CheckMessage]:
    """W001, W002: halves of a production set-up."""
    on_postgres = str(settings.DATABASES["default"]["ENGINE"]).endswith("postgresql")
    if on_postgres and not settings.REDIS_URL:
        return [
            Warning(
                "PostgreSQL without Redis: jobs go through folders on this machine, one at a time.",
                hint="Set REDIS_URL to run several workers or to put them on another machine.",
                id="loadstock.W001",
            )
        ]
    if settings.REDIS_URL and not on_postgres:
        return [
            Warning(
                "Redis without PostgreSQL: several workers would wait for one SQLite write lock.",
                hint="Set DATABASE_URL to a PostgreSQL server, or run the embedded mode without REDIS_URL.",
                id="loadstock.W002",
            )
        ]
    return []


@register()
def check_jobs(app_configs: Apps, **kwargs: Any) -> list[CheckMessage]:
    """E008, E009: the clock's zone, and tasks that outlive the broker's patience."""
    conf = current_app.conf
    found: list[CheckMessage] = []
    if not conf.enable_utc or str(conf.timezone) != "UTC":
        found.append(
            Error(
                f"Background jobs run in the zone {conf.timezone} instead of UTC.",
                hint="Leave CELERY_TIMEZONE at 'UTC' and CELERY_ENABLE_UTC on; people read TIME_ZONE.",
                id="loadstock.E008",
            )
        )
    patience_s = conf.broker_transport_options.get("visibility_timeout")
    longest_s = conf.task_time_limit
    if patience_s is not None and (longest_s is None or longest_s >= patience_s):
        found.append(
            Error(
                f"A task may run {longest_s} s, but Redis hands it out again after {patience_s} s.",
                hint="Keep CELERY_TASK_TIME_LIMIT below the broker's visibility_timeout.",
                id="loadstock.E009",
            )
        )
    return found


@register()
def check_requests_hold_no_lock(app_configs: Apps, **kwargs: Any) -> list[CheckMessage]:
    """E010: one transaction around each page makes every reader wait for the writer."""
    return [
        Error(
            f"Database '{alias}' wraps every request in a transaction.",
            hint="Leave ATOMIC_REQUESTS off; services open their own, short transactions.",
            id="loadstock.E010",
        )
        for alias, config in settings.DATABASES.items()
        if config.get("ATOMIC_REQUESTS")
    ]
