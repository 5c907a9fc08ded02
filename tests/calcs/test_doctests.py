"""Every example in a docstring of the calculations is run."""

import doctest
import importlib
import pkgutil

import pytest

import calcs

MODULES = sorted(module.name for module in pkgutil.walk_packages(calcs.__path__, "calcs."))


@pytest.mark.parametrize("name", MODULES)
def test_the_examples_in_the_docstrings_are_true(name: str):
    assert doctest.testmod(importlib.import_module(name)).failed == 0


def test_examples_are_found_at_all():
    assert sum(doctest.testmod(importlib.import_module(name)).attempted for name in MODULES) > 10
