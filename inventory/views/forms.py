"""A service's refusal shown beside the field it is about."""

from __future__ import annotations

from django.core.exceptions import ValidationError
from django.forms import Form

from shared.errors import DomainError
from shared.records import errors_by_field


def show_refusal(form: Form, refused: DomainError | ValidationError) -> None:
    """Put the refusal on the form: beside its field where the form has one, else above all fields."""
    if isinstance(refused, DomainError):
        form.add_error(refused.field if refused.field in form.fields else None, refused.sentence)
        return
    for name, sentences in errors_by_field(refused).items():
        for sentence in sentences:
            _show(form, name, sentence)


def _show(form: Form, name: str, sentence: str) -> None:
    """A constraint of the whole row names its field first ("rest_v must be ..."): it belongs beside it."""
    named, _, rest = sentence.partition(" ")
    if name not in form.fields and named in form.fields:
        form.add_error(named, rest[:1].upper() + rest[1:])
    else:
        form.add_error(name if name in form.fields else None, sentence)
