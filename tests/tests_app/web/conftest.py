"""A browser's requests to the pages of a rig ready to test, four hours after the test's start."""

from collections.abc import Iterator

import pytest
import time_machine
from django.core.cache import cache
from django.test import Client

from tests.builders_tests_app import SIGNED, World


@pytest.fixture(autouse=True)
def _four_hours_later() -> Iterator[None]:
    """Hold the clock four hours after the test's start, and let nothing remember another test."""
    cache.clear()
    with time_machine.travel(SIGNED, tick=False):
        yield


@pytest.fixture
def web(world: World) -> Client:
    """The rig's supervisor, signed in."""
    client = Client()
    client.force_login(world.supervisor)
    return client
