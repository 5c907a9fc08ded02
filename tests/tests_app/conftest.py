"""Rigs ready to test, each built once for the tests of a file.

A file that needs another gives `kept_world` anew.
"""

from copy import deepcopy

import pytest

from tests.builders_drawdowns import BankWorld, a_bank_world
from tests.builders_tests_app import World, a_world
from tests.kept import Keep


@pytest.fixture(scope="module")
def kept_world(keep: Keep) -> World:
    return keep(a_world)


@pytest.fixture
def world(kept_world: World, db: None) -> World:
    """A rig with a surface stack, as it was built."""
    return deepcopy(kept_world)


@pytest.fixture(scope="module")
def kept_bank_world(keep: Keep) -> BankWorld:
    return keep(a_bank_world)


@pytest.fixture
def bank_world(kept_bank_world: BankWorld, db: None) -> BankWorld:
    """A rig ready for a drawdown, as it was built."""
    return deepcopy(kept_bank_world)
