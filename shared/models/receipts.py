"""What was answered to an entry that named a key: so that the same entry sent twice is written once."""

from __future__ import annotations

from django.db import models
from django.db.models import Q

from shared.models.constraints import one_of

METHODS = ["POST", "PUT", "PATCH", "DELETE"]


class Receipt(models.Model):
    """The answer to a change that was asked for under an Idempotency-Key, written with the change itself.

    Refusals leave none, so a mended entry may come again under its key.
    """

    team = models.ForeignKey("shared.Team", on_delete=models.CASCADE, related_name="+")
    key = models.CharField(max_length=80, help_text="Made by the sender, never used for another entry")
    user = models.ForeignKey("shared.User", on_delete=models.CASCADE, related_name="+")
    method = models.CharField(max_length=6)
    path = models.CharField(max_length=500)
    body_sha256 = models.CharField(max_length=64)
    status = models.PositiveSmallIntegerField()
    answer = models.TextField(blank=True, help_text="JSON as it was sent")
    created_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering = ["-created_at", "-pk"]
        constraints = [
            models.UniqueConstraint(fields=["team", "key"], name="receipt_one_per_key"),
            models.CheckConstraint(
                condition=Q(status__gte=200) & Q(status__lt=300), name="receipt_of_a_change_made"
            ),
            one_of("receipt", "method", METHODS),
        ]
        indexes = [models.Index(fields=["created_at"], name="receipt_age")]

    def __str__(self) -> str:
        return f"{self.method} {self.path} ({self.key})"
