"""Each system check both ways: silent on what we ship; loud, with id and hint, on the wrong combination."""

from __future__ import annotations

import copy
import sqlite3
from contextlib import closing

import pytest
from celery import current_app
from django.conf import settings as django_settings
from django.core.checks import run_checks
from django.db import connection, connections
from django.db.backends.sqlite3.base import DatabaseWrapper as SqliteConnection

from shared import checks

STRONG = "k3J9-vQx7_Lm2Zt8Rw5Yp1Bd6Hn4Gs0Fc-uEaXoIiKjVhTqNlMz"
SQLITE = {
    "ENGINE": "django.db.backends.sqlite3",
    "NAME": ":memory:",
    "OPTIONS": {"transaction_mode": "IMMEDIATE", "timeout": 20},
}


def ids(found):
    assert all(message.hint for message in found)
    return [message.id for message in found]


@pytest.fixture
def as_shipped(settings, monkeypatch):
    """Settings a site would run with; the test run itself uses a broker in memory."""
    settings.CELERY_BROKER_URL = "filesystem://localhost/"
    settings.REDIS_URL = ""
    settings.PRODUCTION = False
    # Past the fixture, which would warn: nothing connects to this database.
    monkeypatch.setattr(django_settings, "DATABASES", {"default": copy.deepcopy(SQLITE)})
    return settings


def test_all_checks_are_silent_on_the_shipped_settings(as_shipped):
    assert [message.id for message in run_checks() if str(message.id).startswith("loadstock.")] == []


@pytest.mark.parametrize("mode", ["", "DEFERRED", "EXCLUSIVE"])
def test_sqlite_without_immediate_transactions(as_shipped, mode):
    as_shipped.DATABASES["default"]["OPTIONS"]["transaction_mode"] = mode
    assert ids(checks.check_sqlite_transactions(None)) == ["loadstock.E001"]


@pytest.mark.parametrize(
    ("timeout", "expected"), [(5, ["loadstock.E003"]), (9.9, ["loadstock.E003"]), (10, [])]
)
def test_sqlite_that_gives_up_on_its_lock_too_soon(as_shipped, timeout, expected):
    as_shipped.DATABASES["default"]["OPTIONS"]["timeout"] = timeout
    assert ids(checks.check_sqlite_transactions(None)) == expected


def test_sqlite_timeout_left_at_the_library_default(as_shipped):
    del as_shipped.DATABASES["default"]["OPTIONS"]["timeout"]
    assert ids(checks.check_sqlite_transactions(None)) == ["loadstock.E003"]


@pytest.mark.parametrize(("mode", "expected"), [("delete", ["loadstock.E002"]), ("wal", [])])
def test_the_journal_mode_is_read_back_from_the_file(tmp_path, django_db_blocker, mode, expected):
    path = tmp_path / "db.sqlite3"
    sqlite3.connect(path).execute(f"PRAGMA journal_mode={mode}").close()
    config = {**connections["default"].settings_dict, "NAME": str(path), "OPTIONS": {}}
    with django_db_blocker.unblock(), closing(SqliteConnection(config, "file")) as connection:
        assert ids(checks._journal_of(connection)) == expected


@pytest.mark.django_db
def test_the_journal_check_runs_with_the_database_checks():
    found = run_checks(databases=["default"])
    assert "loadstock.E002" not in [message.id for message in found]
    assert checks.check_sqlite_journal(None, databases=None) == []
    assert connection.is_usable()


def test_redis_beside_the_broker_in_folders(as_shipped):
    as_shipped.REDIS_URL = "redis://127.0.0.1:6379/0"
    assert ids(checks.check_one_broker(None)) == ["loadstock.E004"]
    as_shipped.CELERY_BROKER_URL = as_shipped.REDIS_URL
    assert checks.check_one_broker(None) == []


def test_a_broker_named_behind_our_back(as_shipped, monkeypatch):
    monkeypatch.setenv("CELERY_BROKER_URL", "redis://elsewhere:6379/1")
    assert ids(checks.check_one_broker(None)) == ["loadstock.E004"]
    monkeypatch.setenv("CELERY_BROKER_URL", as_shipped.CELERY_BROKER_URL)
    assert checks.check_one_broker(None) == []


def test_a_broker_in_memory(as_shipped):
    as_shipped.CELERY_BROKER_URL = "memory://"
    assert ids(checks.check_one_broker(None)) == ["loadstock.E005"]


@pytest.fixture
def production(as_shipped):
    as_shipped.PRODUCTION = True
    as_shipped.DEBUG = False
    as_shipped.SECRET_KEY = STRONG
    as_shipped.HTTPS_ONLY = True
    as_shipped.BEHIND_PROXY = True
    return as_shipped


def test_a_sound_production_set_up_passes(production):
    assert checks.check_production_safety(None) == []


@pytest.mark.parametrize(
    ("name", "value", "expected"),
    [
        ("DEBUG", True, "loadstock.E006"),
        ("SECRET_KEY", "django-insecure-" + STRONG, "loadstock.E007"),
        ("SECRET_KEY", "short", "loadstock.E007"),
        ("BEHIND_PROXY", False, "loadstock.W003"),
    ],
)
def test_production_with_one_thing_wrong(production, name, value, expected):
    setattr(production, name, value)
    assert ids(checks.check_production_safety(None)) == [expected]
    production.PRODUCTION = False
    assert checks.check_production_safety(None) == []


@pytest.mark.parametrize(
    ("engine", "redis", "expected"),
    [
        ("postgresql", "redis://r", []),
        ("postgresql", "", ["loadstock.W001"]),
        ("sqlite3", "redis://r", ["loadstock.W002"]),
        ("sqlite3", "", []),
    ],
)
def test_half_a_production_set_up(as_shipped, engine, redis, expected):
    as_shipped.DATABASES["default"]["ENGINE"] = f"django.db.backends.{engine}"
    as_shipped.REDIS_URL = redis
    assert ids(checks.check_servers_fit(None)) == expected


@pytest.fixture
def celery_conf():
    conf = current_app.conf
    before = {
        name: getattr(conf, name)
        for name in ("timezone", "enable_utc", "task_time_limit", "broker_transport_options")
    }
    yield conf
    conf.update(before)


def test_background_jobs_in_another_zone(celery_conf):
    assert checks.check_jobs(None) == []
    celery_conf.timezone = "America/New_York"
    assert ids(checks.check_jobs(None)) == ["loadstock.E008"]


def test_a_task_that_outlives_the_brokers_patience(celery_conf):
    celery_conf.broker_transport_options = {"visibility_timeout": 3600}
    celery_conf.task_time_limit = 1800
    assert checks.check_jobs(None) == []
    for limit in (3600, None):
        celery_conf.task_time_limit = limit
        assert ids(checks.check_jobs(None)) == ["loadstock.E009"]


def test_a_transaction_around_every_request(as_shipped):
    as_shipped.DATABASES["default"]["ATOMIC_REQUESTS"] = True
    assert ids(checks.check_requests_hold_no_lock(None)) == ["loadstock.E010"]
    as_shipped.DATABASES["default"]["ATOMIC_REQUESTS"] = False
    assert checks.check_requests_hold_no_lock(None) == []
