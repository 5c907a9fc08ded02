"""A rig with one of everything, built once for the tests of a file, and who calls for it."""

from copy import deepcopy

import pytest
from django.core.cache import cache

from tests.builders_api import Caller, Things, a_caller, things
from tests.builders_tests_app import World
from tests.kept import Keep


@pytest.fixture(autouse=True)
def _nobody_called_before():
    cache.clear()


@pytest.fixture(scope="module")
def kept_things(keep: Keep) -> Things:
    return keep(things)


@pytest.fixture
def all_things(kept_things: Things, db: None) -> Things:
    return deepcopy(kept_things)


@pytest.fixture
def world(all_things: Things) -> World:
    return all_things.world


@pytest.fixture
def supervisor(world: World) -> Caller:
    """The rig's supervisor by a token that writes."""
    return a_caller(world.supervisor)
