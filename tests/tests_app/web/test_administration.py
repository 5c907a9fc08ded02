"""The administration shows the tests and changes nothing."""

import pytest
from django.contrib import admin
from django.test import Client
from django.urls import reverse

from equipment.admin import LookOnly
from tests import builders
from tests.builders_tests_app import SIGNED, World, a_sealed_record, a_world
from tests.kept import Keep
from tests_app.actions.certificates import issue_certificate
from tests_app.models import Record

SHOWN = [
    model
    for model, shown in admin.site._registry.items()
    if isinstance(shown, LookOnly) and model._meta.app_label == "tests_app"
]


@pytest.fixture(scope="module")
def kept_world(keep: Keep) -> World:
    return keep(a_world_with_a_certificate)


def a_world_with_a_certificate() -> World:
    world = a_world()
    issue_certificate(a_sealed_record(world), by=world.supervisor, at=SIGNED)
    return world


@pytest.fixture
def administrator(world: World) -> Client:
    client = Client()
    client.force_login(builders.a_person(superuser=True))
    return client


@pytest.mark.parametrize("model", SHOWN, ids=lambda model: model.__name__)
def test_a_row_is_shown_and_neither_added_nor_changed_nor_removed(administrator: Client, model):
    label = f"admin:{model._meta.app_label}_{model._meta.model_name}"
    assert administrator.get(reverse(f"{label}_changelist")).status_code == 200
    assert administrator.get(reverse(f"{label}_add")).status_code == 403
    row = model.objects.first()
    if row is not None:
        assert administrator.get(reverse(f"{label}_change", args=[row.pk])).status_code == 200
        assert administrator.post(reverse(f"{label}_change", args=[row.pk]), {}).status_code == 403
        assert administrator.post(reverse(f"{label}_delete", args=[row.pk]), {"post": "yes"}).status_code == 403
    assert Record.objects.count() == 1
