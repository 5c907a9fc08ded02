"""The budget of design: short functions, short files; docstrings are not counted."""

import statistics

import pytest

from tests.architecture.source import Module, file_lines, function_lines, modules

LONGEST_FUNCTION = 80
LONGEST_FILE = 600
MEDIAN_FUNCTION = 10
USUAL_FUNCTION = 40
USUAL_SHARE = 0.95


@pytest.mark.parametrize("module", modules(), ids=lambda module: module.name)
def test_no_file_outgrows_its_budget(module: Module):
    assert file_lines(module) <= LONGEST_FILE
    long = {function.name: function_lines(function) for function in module.functions()}
    assert {name: lines for name, lines in long.items() if lines > LONGEST_FUNCTION} == {}


def test_functions_are_short_on_the_whole():
    lengths = sorted(function_lines(function) for module in modules() for function in module.functions())
    assert statistics.median(lengths) <= MEDIAN_FUNCTION
    assert lengths[int(len(lengths) * USUAL_SHARE)] <= USUAL_FUNCTION
