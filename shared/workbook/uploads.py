"""Files kept between the preview of an import and the agreement to it: one folder, a random name, an hour.

A kept file can only be named by the person who sent it, acting in the same team. Processes that share the
import pages must share DATA_DIR.
"""

from __future__ import annotations

import json
import re
import secrets
import time
from pathlib import Path

from django.conf import settings

from shared.access import Scope
from shared.workbook.problems import WorkbookRefused
from shared.workbook.tables import SourceFile

KEPT_S = 3600
_TOKEN = re.compile(r"[A-Za-z0-9_-]{43}")


def keep_upload(scope: Scope, source: SourceFile) -> str:
    """Keep a file for the person and team; returns the token that names it."""
    _drop_old()
    token = secrets.token_urlsafe(32)
    path = _path(scope, token)
    path.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
    path.touch(mode=0o600)
    path.write_bytes(json.dumps(source.name).encode() + b"\n" + source.data)
    return token


def kept_upload(scope: Scope, token: str) -> SourceFile:
    """The file of that token; ``WorkbookRefused`` when it is gone, too old, or somebody else's."""
    path = _path(scope, token) if _TOKEN.fullmatch(token) else None
    if path is None or not path.is_file() or _is_old(path):
        raise WorkbookRefused(
            "The file of this preview is no longer kept; nothing was changed", remedy="Send the file again"
        )
    name, _, data = path.read_bytes().partition(b"\n")
    return SourceFile(json.loads(name), data)


def drop_upload(scope: Scope, token: str) -> None:
    """Forget a file."""
    if _TOKEN.fullmatch(token):
        _path(scope, token).unlink(missing_ok=True)


def _folder() -> Path:
    return Path(settings.DATA_DIR) / "uploads"


def _path(scope: Scope, token: str) -> Path:
    person = scope.user.pk if scope.user else 0
    return _folder() / f"{scope.team.pk}-{person}-{token}"


def _is_old(path: Path) -> bool:
    return time.time() - path.stat().st_mtime > KEPT_S


def _drop_old() -> None:
    for path in _folder().glob("*-*-*"):
        if _is_old(path):
            path.unlink(missing_ok=True)
