"""Entries that are written once however often they are sent: the header ``Idempotency-Key`` of the API.

A phone that loses the network cannot know whether its entry arrived, so it sends the same one again under the same
key. The receipt is written in the transaction of the change itself: either both stand or neither, also when the
process is killed in between. Of two at once the unique index lets one through; the other waits for it and repeats
its answer. A refusal leaves no receipt, so a mended entry may come again under its key.

Header and answers follow the IETF draft "The Idempotency-Key HTTP Header Field" (draft-ietf-httpapi-idempotency-key-
header): one key, one entry; the same key with another entry is refused by 422.
"""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Callable
from dataclasses import dataclass
from datetime import timedelta
from typing import Any

from django.conf import settings
from django.core.files.uploadedfile import UploadedFile
from django.db import IntegrityError, transaction
from django.http import QueryDict
from django.utils import timezone
from rest_framework.renderers import JSONRenderer
from rest_framework.request import Request
from rest_framework.response import Response

from shared.access import Scope
from shared.errors import Conflict, DomainError
from shared.models import JobRun, Receipt
from shared.models.receipts import METHODS

HEADER = "Idempotency-Key"
REPEAT_HEADER = "Idempotency-Repeat"
#: Long enough not to be met by chance, short enough to be indexed; quotes of a structured field are dropped.
KEY_FORM = re.compile(r"[A-Za-z0-9._:-]{16,80}")


class KeyUsedBefore(DomainError):
    """The key belongs to another entry."""

    status_code = 422


class _Refused(Exception):
    """Carries an answer that refuses out of the transaction, so that nothing of it stays."""

    def __init__(self, response: Any) -> None:
        self.response = response


@dataclass(frozen=True)
class Entry:
    """What makes two requests the same entry."""

    key: str
    method: str
    path: str
    body_sha256: str


def once(*, scope: Scope, request: Request, write: Callable[[], Any]) -> Any:
    """Answer the request by ``write``, or by its receipt if this entry was written before.

    Without the header, and for methods that change nothing, it is ``write`` and no more.
    """
    given = request.headers.get(HEADER)
    if given is None or request.method not in METHODS:
        return write()
    entry = _entry(given, request)
    try:
        with transaction.atomic():
            receipt = _claim(scope, entry)
            if receipt is None:
                return _repeat(scope, entry)
            response = write()
            if not 200 <= response.status_code < 300:
                raise _Refused(response)
            receipt.status, receipt.answer = response.status_code, _rendered(response)
            receipt.save(update_fields=["status", "answer"])
            return response
    except _Refused as refused:
        return refused.response


def _entry(given: str, request: Request) -> Entry:
    key = given.strip().strip('"')
    if not KEY_FORM.fullmatch(key):
        raise DomainError(
            f"The header {HEADER} cannot be used",
            field=HEADER,
            value=given[:100],
            remedy="Send 16 to 80 letters, digits or . _ : - made at random, one key for each entry",
        )
    return Entry(key, str(request.method), request.get_full_path()[:500], body_digest(request.data))


def body_digest(data: Any) -> str:
    """SHA-256 of what was sent, whatever the order of its fields or the boundaries between its parts."""
    if isinstance(data, QueryDict):
        data = {name: [_part(value) for value in data.getlist(name)] for name in data}
    return hashlib.sha256(json.dumps(data, sort_keys=True, default=_part).encode()).hexdigest()


def _part(value: Any) -> str:
    if not isinstance(value, UploadedFile):
        return str(value)
    digest = hashlib.sha256()
    for chunk in value.chunks():
        digest.update(chunk)
    value.seek(0)
    return f"{value.name} {digest.hexdigest()}"


def _claim(scope: Scope, entry: Entry) -> Receipt | None:
    """A receipt to be filled in, or None when there is one. Waits while another request fills in the same."""
    assert scope.user is not None, "the API knows who asks"
    try:
        with transaction.atomic():
            return Receipt.objects.create(
                team=scope.team,
                user=scope.user,
                key=entry.key,
                method=entry.method,
                path=entry.path,
                body_sha256=entry.body_sha256,
                status=200,
            )
    except IntegrityError:
        return None


def _repeat(scope: Scope, entry: Entry) -> Response:
    receipt = scope.rows(Receipt).filter(key=entry.key).first()
    if receipt is None:
        raise Conflict("The same entry was just taken back by the server", remedy="Send it again")
    same = (receipt.method, receipt.path, receipt.body_sha256) == (
        entry.method,
        entry.path,
        entry.body_sha256,
    )
    if not same or receipt.user != scope.user:
        raise KeyUsedBefore(
            "This key was used for another entry, which stands",
            field=HEADER,
            value=entry.key,
            remedy="Look whether the entry is there already; if not, enter it anew, which makes a new key",
        )
    answer = json.loads(receipt.answer) if receipt.answer else None
    return Response(answer, status=receipt.status, headers={REPEAT_HEADER: "true"})


def _rendered(response: Any) -> str:
    data = getattr(response, "data", None)
    return "" if data is None else JSONRenderer().render(data).decode()


def purge(run: JobRun) -> dict[str, int]:
    """Drop receipts older than RECEIPT_DAYS: by then no phone sends its entry a second time."""
    oldest = timezone.now() - timedelta(days=settings.RECEIPT_DAYS)
    dropped, _ = Receipt.objects.filter(created_at__lt=oldest).delete()
    return {"receipts dropped": dropped}


__all__ = ["HEADER", "REPEAT_HEADER", "body_digest", "once", "purge"]
