"""Strict readers for the environment: an odd value stops the start and says what to do instead.

Every reader also writes down what it read (`Env.declared`), so that a test can hold the configuration
table in README.md against the settings.
"""

from __future__ import annotations

import os
import re
import secrets
import zoneinfo
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path

from django.core.exceptions import ImproperlyConfigured

TRUE_WORDS = frozenset({"1", "true", "yes", "on"})
FALSE_WORDS = frozenset({"0", "false", "no", "off"})
MIN_SECRET_CHARS = 50
# Words people leave in a copied example. Matched anywhere in the secret, lower case.
PLACEHOLDER_SECRETS = ("change-me", "changeme", "django-insecure", "replace-me", "your-secret", "example")


class BadSetting(ImproperlyConfigured):
    """An environment variable that cannot be used, with the remedy."""

    def __init__(self, name: str, value: str | None, remedy: str) -> None:
        self.name, self.value, self.remedy = name, value, remedy
        seen = f"{name} is not set" if value is None else f"{name}={value!r} cannot be used"
        super().__init__(f"{seen}: {remedy}")


@dataclass(frozen=True)
class Variable:
    """One variable the settings read: its name and its default as the README prints it."""

    name: str
    default: str


class Env:
    """Typed access to one mapping of variables. An empty text counts as not set."""

    def __init__(self, values: Mapping[str, str]) -> None:
        self._values = values
        self.declared: dict[str, Variable] = {}

    def _raw(self, name: str, default: str) -> str | None:
        self.declared[name] = Variable(name, default)
        value = self._values.get(name, "").strip()
        return value or None

    def text(self, name: str, *, default: str = "") -> str:
        return self._raw(name, default) or default

    def choice(self, name: str, options: Iterable[str], *, default: str, shown: str = "") -> str:
        """One of a few words, case ignored. `shown` tells a default which depends on something else."""
        wanted = list(options)
        value = self._raw(name, shown or default)
        if value is None:
            return default
        for option in wanted:
            if value.lower() == option.lower():
                return option
        raise BadSetting(name, value, f"write one of {', '.join(wanted)}")

    def boolean(self, name: str, *, default: bool, shown: str = "") -> bool:
        value = self._raw(name, shown or ("on" if default else "off"))
        if value is None:
            return default
        if value.lower() in TRUE_WORDS:
            return True
        if value.lower() in FALSE_WORDS:
            return False
        raise BadSetting(name, value, "write on or off (1/0, true/false and yes/no are understood too)")

    def integer(self, name: str, *, default: int, low: int, high: int) -> int:
        value = self._raw(name, str(default))
        if value is None:
            return default
        # int() would also take '1_0', ' 7 ' and digits of other scripts; a setting should look like a number.
        if not re.fullmatch(r"-?[0-9]+", value) or not low <= int(value) <= high:
            raise BadSetting(name, value, f"write a whole number from {low} to {high}")
        return int(value)

    def words(self, name: str, *, default: tuple[str, ...] = ()) -> list[str]:
        """Words separated by commas. An empty place between two commas is a slip and is refused."""
        value = self._raw(name, ",".join(default))
        if value is None:
            return [*default]
        words = [word.strip() for word in value.split(",")]
        if not all(words):
            raise BadSetting(name, value, "separate the entries by one comma each, with none left empty")
        return words

    def origins(self, name: str) -> list[str]:
        """Origins such as https://stock.team.test; Django needs the scheme."""
        found = self.words(name)
        for origin in found:
            if not re.fullmatch(r"https?://[^/\s]+", origin):
                raise BadSetting(
                    name, origin, "write scheme and host without a path, such as https://stock.team.test"
                )
        return found

    def hosts(self, name: str, *, default: tuple[str, ...]) -> list[str]:
        """Host names for ALLOWED_HOSTS; the lone star, which switches the check off, is refused."""
        found = self.words(name, default=default)
        for host in found:
            if host == "*" or "/" in host:
                raise BadSetting(
                    name, host, "write host names only, such as stock.team.test, no scheme, path or *"
                )
        return found

    def folder(self, name: str, *, default: Path, shown: str) -> Path:
        """An absolute folder; `~` is understood. `shown` is the default as people read it."""
        value = self._raw(name, shown)
        if value is None:
            return default
        found = Path(value).expanduser()
        if not found.is_absolute():
            raise BadSetting(name, value, "write an absolute path, so that all processes share one folder")
        return found

    def url(self, name: str, schemes: tuple[str, ...], *, example: str) -> str:
        value = self._raw(name, "")
        if value is None:
            return ""
        if not value.startswith(tuple(f"{scheme}://" for scheme in schemes)):
            # The value may hold a password, so only its scheme is repeated.
            raise BadSetting(name, value.split(":")[0] + ":...", f"write an address such as {example}")
        return value

    def time_zone(self, name: str, *, default: str) -> str:
        value = self._raw(name, default) or default
        try:
            zoneinfo.ZoneInfo(value)
        except (zoneinfo.ZoneInfoNotFoundError, ValueError, OSError):
            raise BadSetting(name, value, "write a tz database name, such as Europe/Lisbon") from None
        return value

    def secret(self, name: str) -> str:
        """A secret given directly or, better, in a file named by <name>_FILE; '' when neither is set."""
        file_name = f"{name}_FILE"
        value, file_value = self._raw(name, ""), self._raw(file_name, "")
        if value is not None and file_value is not None:
            raise BadSetting(file_name, file_value, f"set {name} or {file_name}, not both")
        if file_value is None:
            return value or ""
        try:
            kept = Path(file_value).read_text(encoding="utf-8").strip()
        except (OSError, UnicodeDecodeError) as problem:
            raise BadSetting(file_name, file_value, f"the file must be readable here ({problem})") from None
        if not kept:
            raise BadSetting(file_name, file_value, "the file is empty; put the secret on its first line")
        return kept


def secret_weakness(secret: str) -> str | None:
    """Why a secret must not protect a production site, or None when it may."""
    if len(secret) < MIN_SECRET_CHARS:
        return f"it has {len(secret)} characters, fewer than {MIN_SECRET_CHARS}"
    if any(word in secret.lower() for word in PLACEHOLDER_SECRETS):
        return "it looks like a placeholder copied from an example"
    if len(set(secret)) < 10:
        return "it repeats a few characters"
    return None


def kept_secret(path: Path) -> str:
    """The random secret in `path`, made on first use and readable by its owner only.

    Two processes starting at once agree on one secret: whoever links its file first wins, both read that.
    """
    if not path.exists():
        path.parent.mkdir(parents=True, exist_ok=True)
        draft = path.with_name(f"{path.name}.{os.getpid()}")
        draft.unlink(missing_ok=True)
        with os.fdopen(os.open(draft, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "w") as out:
            out.write(secrets.token_urlsafe(64))
        try:
            os.link(draft, path)
        except FileExistsError:
            pass  # the other process was first
        finally:
            draft.unlink()
    return path.read_text(encoding="utf-8").strip()


def read_env_file(path: Path) -> dict[str, str]:
    """NAME=value lines of a .env file; blank and # lines are passed over, quotes dropped."""
    if not path.is_file():
        return {}
    found: dict[str, str] = {}
    for number, line in enumerate(path.read_text(encoding="utf-8").splitlines(), start=1):
        text = line.strip()
        if not text or text.startswith("#"):
            continue
        match = re.fullmatch(r"(?:export\s+)?([A-Z][A-Z0-9_]*)\s*=\s*(.*)", text)
        if match is None:
            raise BadSetting(f"{path.name} line {number}", text, "write NAME=value, one per line")
        name, value = match.groups()
        if len(value) >= 2 and value[0] == value[-1] and value[0] in "'\"":
            value = value[1:-1]
        found[name] = value
    return found


def process_env(env_file: Path) -> Env:
    """The process environment over the .env file: what is set for the process wins."""
    return Env({**read_env_file(env_file), **os.environ})
