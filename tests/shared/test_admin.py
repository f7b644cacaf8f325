"""The admin opens every list for repair work, and only for staff."""

from __future__ import annotations

from typing import Any

import pytest
from django.contrib import admin
from django.urls import reverse

from shared.models import User
from tests.world import make_world

pytestmark = pytest.mark.django_db


@pytest.fixture
def world():
    return make_world()


@pytest.mark.parametrize("model", sorted(admin.site._registry, key=str), ids=str)
def test_every_list_and_row_opens(client, world, model: Any):
    client.force_login(User.objects.create_superuser("root", password="x"))
    name = f"admin:{model._meta.app_label}_{model._meta.model_name}"
    assert client.get(reverse(f"{name}_changelist")).status_code == 200
    row = model._default_manager.first()
    if row is not None:
        assert client.get(reverse(f"{name}_change", args=[row.pk])).status_code == 200


def test_a_mentor_is_no_admin(client, world):
    client.force_login(world.cast.mentor)
    assert client.get(reverse("admin:index")).status_code == 302


def test_flags_are_shown_and_not_written(client, world):
    client.force_login(User.objects.create_superuser("root", password="x"))
    assert client.get(reverse("admin:compliance_flag_add")).status_code == 403
