"""The strict readers: what they take, and that every refusal names the variable, the value and a remedy."""

from __future__ import annotations

import multiprocessing
import stat
from pathlib import Path

import pytest

from shared.env import BadSetting, Env, kept_secret, read_env_file, secret_weakness

STRONG = "k3J9-vQx7_Lm2Zt8Rw5Yp1Bd6Hn4Gs0Fc-uEaXoIiKjVhTqNlMz"


def env(**values: str) -> Env:
    return Env(values)


@pytest.mark.parametrize(
    ("word", "meaning"),
    [
        ("1", True),
        ("true", True),
        ("Yes", True),
        (" ON ", True),
        ("0", False),
        ("False", False),
        ("no", False),
        ("off", False),
    ],
)
def test_boolean_understands_the_usual_words(word, meaning):
    assert env(DEBUG=word).boolean("DEBUG", default=not meaning) is meaning


@pytest.mark.parametrize("word", ["2", "ture", "enabled", "y", "-1", "None"])
def test_boolean_refuses_other_words(word):
    with pytest.raises(BadSetting, match=f"DEBUG='{word}' cannot be used: write on or off"):
        env(DEBUG=word).boolean("DEBUG", default=False)


@pytest.mark.parametrize("default", [True, False])
def test_an_empty_variable_counts_as_not_set(default):
    assert env(DEBUG="  ").boolean("DEBUG", default=default) is default
    assert env().boolean("DEBUG", default=default) is default


@pytest.mark.parametrize("text", ["1_0", "٣", "3.0", "0x10", "+3", "4O", "2", "101", "-5"])
def test_integer_refuses_what_is_no_plain_number_in_range(text):
    with pytest.raises(BadSetting, match="write a whole number from 3 to 100"):
        env(LOGIN_TRIES=text).integer("LOGIN_TRIES", default=8, low=3, high=100)


def test_integer_reads_both_ends_of_its_range():
    assert [env(N=text).integer("N", default=1, low=-2, high=9) for text in ("-2", "9")] == [-2, 9]


def test_words_are_split_at_commas_and_trimmed():
    assert env(HOSTS=" a.test , b.test").words("HOSTS") == ["a.test", "b.test"]


@pytest.mark.parametrize("text", ["a.test,,b.test", ",a.test", "a.test,"])
def test_words_refuse_an_empty_place(text):
    with pytest.raises(BadSetting, match="none left empty"):
        env(HOSTS=text).words("HOSTS")


@pytest.mark.parametrize("text", ["*", "https://stock.team.test", "stock.team.test/page"])
def test_hosts_refuse_the_star_and_addresses(text):
    with pytest.raises(BadSetting, match=r"ALLOWED_HOSTS=.* host names only"):
        env(ALLOWED_HOSTS=text).hosts("ALLOWED_HOSTS", default=())


@pytest.mark.parametrize("text", ["stock.team.test", "https://stock.team.test/path", "ftp://stock.team.test"])
def test_origins_need_scheme_and_host(text):
    with pytest.raises(BadSetting, match=r"such as https://stock\.team\.test"):
        env(CSRF_TRUSTED_ORIGINS=text).origins("CSRF_TRUSTED_ORIGINS")


def test_a_folder_must_be_absolute(tmp_path):
    assert env(DATA_DIR=str(tmp_path)).folder("DATA_DIR", default=Path("/x"), shown="") == tmp_path
    assert env(DATA_DIR="~/stock").folder("DATA_DIR", default=Path("/x"), shown="") == Path.home() / "stock"
    with pytest.raises(BadSetting, match="DATA_DIR='data' cannot be used"):
        env(DATA_DIR="data").folder("DATA_DIR", default=Path("/x"), shown="")


def test_a_refused_address_does_not_repeat_its_password():
    with pytest.raises(BadSetting) as refused:
        env(DATABASE_URL="mysql://root:hunter2@db").url(
            "DATABASE_URL", ("postgres",), example="postgres://..."
        )
    assert "hunter2" not in str(refused.value)
    assert "DATABASE_URL='mysql:...'" in str(refused.value)


@pytest.mark.parametrize("text", ["Mars/Olympus", "../etc/passwd", "UTC+1"])
def test_an_unknown_time_zone_is_refused(text):
    with pytest.raises(BadSetting, match="tz database"):
        env(TIME_ZONE=text).time_zone("TIME_ZONE", default="UTC")


def test_choice_ignores_case_and_names_the_options():
    assert env(LOG_LEVEL="info").choice("LOG_LEVEL", ("INFO", "ERROR"), default="ERROR") == "INFO"
    with pytest.raises(BadSetting, match="write one of INFO, ERROR"):
        env(LOG_LEVEL="loud").choice("LOG_LEVEL", ("INFO", "ERROR"), default="ERROR")


def test_a_secret_comes_from_the_variable_or_from_a_file(tmp_path):
    file = tmp_path / "secret"
    file.write_text(f"{STRONG}\n")
    assert env(SECRET_KEY="plain").secret("SECRET_KEY") == "plain"
    assert env(SECRET_KEY_FILE=str(file)).secret("SECRET_KEY") == STRONG
    assert env().secret("SECRET_KEY") == ""


def test_two_sources_of_one_secret_are_refused(tmp_path):
    with pytest.raises(BadSetting, match="set SECRET_KEY or SECRET_KEY_FILE, not both"):
        env(SECRET_KEY="plain", SECRET_KEY_FILE=str(tmp_path)).secret("SECRET_KEY")


def test_a_secret_file_that_is_missing_or_empty_is_refused(tmp_path):
    with pytest.raises(BadSetting, match="must be readable"):
        env(SECRET_KEY_FILE=str(tmp_path / "none")).secret("SECRET_KEY")
    (tmp_path / "empty").write_text("\n")
    with pytest.raises(BadSetting, match="the file is empty"):
        env(SECRET_KEY_FILE=str(tmp_path / "empty")).secret("SECRET_KEY")


@pytest.mark.parametrize(
    ("secret", "why"),
    [
        ("short", "5 characters"),
        ("django-insecure-" + STRONG, "placeholder"),
        ("Change-Me-" + STRONG, "placeholder"),
        ("ab" * 40, "repeats"),
    ],
)
def test_weak_secrets_are_named_as_such(secret, why):
    assert why in (secret_weakness(secret) or "")


def test_a_random_secret_is_strong_enough():
    assert secret_weakness(STRONG) is None


def test_the_kept_secret_is_made_once_for_its_owner_only(tmp_path):
    path = tmp_path / "new" / "secret_key"
    first = kept_secret(path)
    assert secret_weakness(first) is None
    assert stat.S_IMODE(path.stat().st_mode) == 0o600
    assert kept_secret(path) == first
    assert [file.name for file in path.parent.iterdir()] == ["secret_key"]


def test_processes_that_start_at_once_agree_on_the_kept_secret(tmp_path):
    with multiprocessing.get_context("fork").Pool(4) as pool:
        found = pool.map(kept_secret, [tmp_path / "secret_key"] * 16)
    assert len(set(found)) == 1


def test_the_env_file_reads_plain_lines(tmp_path):
    file = tmp_path / ".env"
    file.write_text("# a comment\n\nDEBUG=on\nexport TIME_ZONE = 'Europe/Lisbon'\nLOG_LEVEL=\n")
    assert read_env_file(file) == {"DEBUG": "on", "TIME_ZONE": "Europe/Lisbon", "LOG_LEVEL": ""}
    assert read_env_file(tmp_path / "none") == {}


def test_the_env_file_names_a_line_it_cannot_read(tmp_path):
    file = tmp_path / ".env"
    file.write_text("DEBUG=on\nTIME_ZONE Europe/Lisbon\n")
    with pytest.raises(BadSetting, match=r"\.env line 2"):
        read_env_file(file)


def test_every_reader_writes_down_what_it_read():
    seen = env(DEBUG="on")
    seen.boolean("DEBUG", default=False)
    seen.integer("LOGIN_TRIES", default=8, low=3, high=100)
    assert {name: variable.default for name, variable in seen.declared.items()} == {
        "DEBUG": "off",
        "LOGIN_TRIES": "8",
    }
