"""Names that bite, and names that say nothing."""

import ast

from tests.architecture.source import modules

EMPTY_NAMES = {"util", "utils", "helper", "helpers", "manager", "managers", "data", "misc", "common", "base", "core"}


def test_no_part_of_the_application_is_taken_for_a_test():
    named = [
        module.place(function)
        for module in modules()
        for function in module.functions()
        if function.name.startswith("test_")
    ]
    named += [module.name for module in modules() if module.path.stem.startswith("test_")]
    assert named == [], "pytest would collect it, even when merely imported into a test."


def test_models_named_after_tests_are_not_collected():
    collected = [
        module.place(node)
        for module in modules()
        for node in module.tree.body
        if isinstance(node, ast.ClassDef)
        and node.name.startswith("Test")
        and not node.name.endswith(("Config", "Guard"))
        if "__test__" not in {target.id for line in node.body for target in _targets(line)}
    ]
    assert collected == [], "Set __test__ = False on it."


def _targets(line: ast.stmt) -> list[ast.Name]:
    if isinstance(line, ast.Assign):
        return [target for target in line.targets if isinstance(target, ast.Name)]
    if isinstance(line, ast.AnnAssign) and isinstance(line.target, ast.Name):
        return [line.target]
    return []


def test_modules_are_named_for_what_they_hold():
    empty = [
        module.name for module in modules() if module.path.stem in EMPTY_NAMES and "settings" not in module.path.parts
    ]
    assert empty == []
